"""A picture as a small piece of a page: themed by the page, with its text equivalent."""

from __future__ import annotations

import io
import re
from html import escape
from typing import TYPE_CHECKING

from spraywindow.show.plots import VARIABLES, metadata

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_PLACES = re.compile(r' (?:d|x|y|transform)="[^"]*"')
_LONG = re.compile(r"-?\d+\.\d\d+")
_PLAIN_GROUP = re.compile(r"<g>((?:[^<]|<(?!/?g\b))*)</g>")
_EMPTY = re.compile(r"<g[^>]*/>\n?|<g[^>]*>\s*</g>\n?")


def inline_svg(figure: Figure, identity: str, title: str, description: str) -> str:
    """Give a figure as SVG for a page whose style sheet sets the colours.

    Parameters
    ----------
    figure : Figure
        Drawn inside `spraywindow.show.plots.look`; call this inside it too.
    identity : str
        Unique on the page; letters, digits and hyphens.
    title, description : str
        What a screen reader says instead of the picture; plain text, escaped here.
    """
    buffer = io.StringIO()
    figure.savefig(buffer, format="svg", transparent=True, metadata=metadata("svg"))
    text = buffer.getvalue()
    box = re.search(r'viewBox="[^"]*"', text)
    assert box is not None
    body = text[text.index(">", text.index("<svg")) + 1 :]
    body = _smaller(re.sub(r"<metadata>.*?</metadata>", "", body, flags=re.DOTALL))
    for colour, name in VARIABLES.items():
        body = body.replace(colour, f"var({name})")
    # the drawing library's ids repeat from picture to picture
    body = re.sub(r'(id="|href="#|url\(#)', rf"\1{identity}-", body)
    body = _with_classes(body, identity)
    return (
        f'<svg xmlns:xlink="http://www.w3.org/1999/xlink" {box[0]} role="img" '
        f'aria-labelledby="{identity}-title {identity}-text">'
        f'<title id="{identity}-title">{escape(title)}</title>'
        f'<desc id="{identity}-text">{escape(description)}</desc>{body.strip()}'
    )


def _smaller(body: str) -> str:
    """Leave out what no page needs: digits below a tenth of a pixel, unused ids, empty groups."""
    body = _PLACES.sub(lambda found: re.sub(r"\s*\n", "", _LONG.sub(_rounded, found[0])), body)
    used = set(re.findall(r'(?:href="#|url\(#)([^")]*)', body))
    body = re.sub(r' id="([^"]*)"', lambda found: found[0] if found[1] in used else "", body)
    body = re.sub(r' transform="rotate\(-0 [^"]*"|font-family: [^;"]*;? ?', "", body)
    # the page's style sheet says it once for all
    body = re.sub(r"<defs>\s*<style.*?</style>\s*</defs>", "", body, flags=re.DOTALL)
    before = ""
    while before != body:
        before, body = body, _EMPTY.sub("", body)
        body = _PLAIN_GROUP.sub(r"\1", body)
    return re.sub(r"\s*\n\s*", "\n", re.sub(r"<!--.*?-->", "", body, flags=re.DOTALL))


def _with_classes(body: str, identity: str) -> str:
    """Say each style once, in a style sheet of the picture's own."""
    styles = list(dict.fromkeys(re.findall(r' style="([^"]*)"', body)))
    names = {style: f"{identity}-{number}" for number, style in enumerate(styles)}
    body = re.sub(r' style="([^"]*)"', lambda found: f' class="{names[found[1]]}"', body)
    sheet = "".join(f".{name}{{{style}}}" for style, name in names.items())
    return f"<style>{sheet}</style>{body}"


def _rounded(found: re.Match[str]) -> str:
    return f"{float(found[0]):.1f}".removesuffix(".0")
