"""The picture on the e-paper, drawn by one pure function from the bulletin.

Two readers stand before it. The one at 3 m sees the banner: the semaphore, one word, and while the band is
open the bearing; and the rose. The one at arm's length reads the facts and the strip of health marks with the
time at which the picture was true, because e-paper keeps a picture for ever, even of a daemon that has died.

Quiet is black on white; stirring is framed; open turns the banner black; blind turns everything black,
stripes and no rose: nobody can take it for quiet.
"""

from PIL import Image

from sentinel.panel.front import front_items
from sentinel.panel.second import second_items
from sentinel.panel.sheet import Item, render
from sentinel.panel.style import STYLES
from sentinel.watch.bulletin import Bulletin

SIZES = tuple(STYLES)


def draw(bulletin: Bulletin, size: tuple[int, int], accent: bool = False, page: int = 1) -> Image.Image:
    """The picture of a bulletin: page 1 is the band now, page 2 the openings of the UTC day.

    ``size`` is one of ``SIZES`` (width, height in pixels); with ``accent`` the picture has mode ``P`` with
    the palette white, black, accent, otherwise mode ``1``. Raises ValueError for another size or page.
    """
    return render(layout(bulletin, size, accent, page), size, accent)


def layout(
    bulletin: Bulletin, size: tuple[int, int], accent: bool = False, page: int = 1
) -> tuple[Item, ...]:
    """The items of the picture in drawing order, each in its own box."""
    if size not in STYLES:
        known = ", ".join(f"{width}x{height}" for width, height in SIZES)
        raise ValueError(f"no picture for {size[0]}x{size[1]} pixels; there is one for {known}")
    if page == 1:
        return tuple(front_items(bulletin, STYLES[size], accent))
    if page == 2:
        return tuple(second_items(bulletin, STYLES[size], accent))
    raise ValueError(f"the picture has pages 1 and 2, not {page}")
