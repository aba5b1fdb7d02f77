"""``sentinel demo``: the daemon at work on an invented evening, with a real file, broker and subscriber.

Nothing is mocked: the invented decoder is a process that appends lines to a file, the broker listens on
loopback, a subscriber prints what arrives over the network, and the daemon is the one that ``sentinel run``
starts. Only time is compressed.
"""

import argparse
import contextlib
import logging
import shutil
import sys
import tempfile
import threading
import time
from pathlib import Path

from sentinel.commands.options import Subcommands, add_command
from sentinel.errors import ConfigError, RunError

LONGEST_DEMO_S = 600.0
DAEMON_PATIENCE_S = 10.0
BROKER_PATIENCE_S = 25.0
SETTLING_S = 3.0
SETTLING_BAND_S = 300.0
"""After the decoder has ended: time for the last verdict to arrive at the subscriber."""


def register(subcommands: Subcommands) -> None:
    command = add_command(
        subcommands,
        "demo",
        "watch an invented evening in under a minute",
        "sentinel demo --seed 7 --keep demo",
    )
    command.add_argument("--seed", type=int, default=1, help="which evening (%(default)s)")
    command.add_argument("--speed", type=_speed, default=None, help="band time over clock time (130)")
    command.add_argument(
        "--keep", type=Path, metavar="DIR", help="keep log, picture and configuration in DIR"
    )
    command.set_defaults(run=run)


def _speed(text: str) -> float:
    try:
        speed = float(text)
    except ValueError:
        speed = 0.0
    if not 1.0 <= speed <= 1000.0:
        raise argparse.ArgumentTypeError(f"{text[:20]!a} is no speed from 1 to 1000")
    return speed


def run(options: argparse.Namespace) -> int:
    """Play the evening; prints what happens, a summary and the picture's path."""
    try:
        import amqtt  # noqa: F401
    except ImportError:
        raise ConfigError("the demo needs a broker of its own: pip install 'vhf-sentinel[demo]'") from None
    if options.keep is None:
        with tempfile.TemporaryDirectory(prefix="sentinel-demo-") as folder:
            return _play(options, Path(folder), Path(tempfile.gettempdir()) / "sentinel-demo.png")
    try:
        options.keep.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise ConfigError(f"--keep {options.keep}: cannot be made ({error.strerror}); name another") from None
    if any(options.keep.iterdir()):  # never an operator's own log and configuration
        raise ConfigError(f"--keep {options.keep}: is not empty; name a new folder")
    return _play(options, options.keep, options.keep / "panel.png")


def _play(options: argparse.Namespace, folder: Path, picture: Path) -> int:
    from sentinel.commands.demo_broker import EmbeddedBroker
    from sentinel.commands.demo_files import LOG_NAME, invented_decoder, write_config
    from sentinel.commands.demo_subscriber import Subscriber
    from sentinel.config import load
    from sentinel.daemon import Daemon
    from sentinel.panel.terminal import TerminalView
    from sentinel.rehearsal.evening import DEFAULT_SPEED

    speed = options.speed or DEFAULT_SPEED
    logging.basicConfig(
        filename=folder / "sentinel.log", level=logging.INFO, format="%(asctime)s %(message)s"
    )
    with contextlib.ExitStack() as stack:
        broker = stack.enter_context(EmbeddedBroker())
        config = load(write_config(folder, broker.port))
        view = TerminalView()
        stack.callback(view.close)
        subscriber = stack.enter_context(Subscriber(broker.port, view.say))
        (folder / LOG_NAME).touch()
        daemon = Daemon(
            config,
            folder,
            rate=speed,
            on_change=view.update,
            on_refresh=view.update if sys.stdout.isatty() else None,
        )
        watching = threading.Thread(target=daemon.run, name="daemon")
        watching.start()
        stack.callback(watching.join, DAEMON_PATIENCE_S)
        stack.callback(daemon.stop)
        if not daemon.wait_for_broker(BROKER_PATIENCE_S):
            raise RunError("the daemon could not reach the demo's broker")
        with invented_decoder(folder / LOG_NAME, options.seed, speed) as decoder:
            if decoder.wait(LONGEST_DEMO_S) != 0:
                raise RunError("the invented decoder failed")
        time.sleep(min(SETTLING_S, SETTLING_BAND_S / speed))
    if picture != folder / "panel.png":
        shutil.copyfile(folder / "panel.png", picture)
    print(subscriber.summary())
    print(f"The panel's last picture: {picture}")
    return 0 if subscriber.has_seen_all() else 1
