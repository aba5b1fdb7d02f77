"""Draw the golden pictures of the panel anew into tests/golden/panel; look at every one before committing.

    python tests/tools/make_panel_goldens.py

Every sample at 250x122; a choice of them at the other sizes; the second page once a size.
"""

from pathlib import Path

from sentinel.panel.picture import SIZES, draw
from sentinel.panel.samples import samples

CHOICE = ("quiet", "stirring", "open", "open-four", "other-bands", "polar", "blind-canary-silent")


def main(target: Path) -> None:
    target.mkdir(parents=True, exist_ok=True)
    for size in SIZES:
        name = f"{size[0]}x{size[1]}.png"
        for sample, bulletin in samples().items():
            if size == SIZES[0] or sample in CHOICE:
                draw(bulletin, size).save(target / f"{sample}-{name}", optimize=True)
        draw(samples()["open"], size, page=2).save(target / f"open-page2-{name}", optimize=True)


if __name__ == "__main__":
    main(Path(__file__).parents[1] / "golden" / "panel")
