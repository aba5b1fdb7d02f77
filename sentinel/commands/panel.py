"""``sentinel panel``: draw any bulletin, or the whole gallery of samples."""

import argparse
import json
from pathlib import Path

from sentinel.commands.options import Subcommands, add_command
from sentinel.errors import ConfigError, RunError

SIZES = {"250x122": (250, 122), "296x128": (296, 128), "400x300": (400, 300)}
LARGEST_BULLETIN_BYTES = 1 << 20


def register(subcommands: Subcommands) -> None:
    command = add_command(
        subcommands,
        "panel",
        "draw a bulletin as the panel shows it",
        "sentinel panel --bulletin state.json --size 250x122 --out panel.png",
    )
    what = command.add_mutually_exclusive_group(required=True)
    what.add_argument("--bulletin", type=Path, metavar="FILE", help="a bulletin as published (JSON)")
    what.add_argument("--samples", type=Path, metavar="DIR", help="draw the whole gallery into a folder")
    command.add_argument("--size", choices=sorted(SIZES), default="250x122", help="pixels (%(default)s)")
    command.add_argument("--accent", action="store_true", help="use a third colour")
    command.add_argument("--page", type=int, choices=(1, 2), default=1, help="2: today's openings")
    command.add_argument("--out", type=Path, metavar="FILE", default=Path("panel.png"), help="(%(default)s)")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Draw and say where the picture is."""
    if options.samples is not None:
        from sentinel.panel.samples import draw_samples

        try:
            options.samples.mkdir(parents=True, exist_ok=True)
            pictures = draw_samples(options.samples)
        except OSError as error:
            raise RunError(f"{options.samples}: cannot be written ({error.strerror})") from None
        print(f"{len(pictures)} pictures in {options.samples}")
        return 0
    from sentinel.outputs.wire import bulletin_from_payload
    from sentinel.panel.picture import draw

    bulletin = bulletin_from_payload(_read(options.bulletin), str(options.bulletin))
    picture = draw(bulletin, SIZES[options.size], options.accent, options.page)
    try:
        picture.save(options.out)
    except (OSError, ValueError) as error:
        raise RunError(f"{options.out}: cannot be written ({error}); end the name in .png") from None
    print(options.out)
    return 0


def _read(file: Path) -> dict[str, object]:
    try:
        if file.stat().st_size > LARGEST_BULLETIN_BYTES:
            raise ConfigError(f"{file}: is too large for a bulletin; is this the right file?")
        data = json.loads(file.read_bytes())
    except OSError as error:
        raise ConfigError(f"{file}: cannot be read ({error.strerror}); name a bulletin's JSON file") from None
    except (ValueError, RecursionError):
        raise ConfigError(f"{file}: is not JSON; save what is published on .../state") from None
    if not isinstance(data, dict):
        raise ConfigError(f"{file}: is no JSON object; save what is published on .../state")
    return data
