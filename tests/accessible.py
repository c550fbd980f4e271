"""What WCAG 2.2 AA asks of a page and of colours, as far as it can be read off without a browser.

Each check of a page takes its parsed HTML and returns a sentence for each problem; `problems` asks them all. Colours
are "#rrggbb". Sources: W3C, Web Content Accessibility Guidelines 2.2 (2023), contrast 1.4.3 and 1.4.11; Machado,
Oliveira and Fernandes 2009, IEEE Transactions on Visualization and Computer Graphics 15:1291.
"""

import re
from collections import Counter
from itertools import combinations

from bs4 import BeautifulSoup

TEXT, GRAPHIC = 4.5, 3.0  # contrast, WCAG 2.2, 1.4.3 and 1.4.11
# Between two fills or marks of one sign: steps of lightness (L*, 0 to 100) in grey, and of CIELAB for the colour-blind.
# Nobody publishes a limit for this; 12 is several times what can just be told apart side by side.
APART = 12.0
NARROW = 320  # CSS pixels, WCAG 2.2, 1.4.10
VAGUE = {"here", "click here", "more", "link", "read more", "this"}
PICTURE_NAME = re.compile(r"\.(png|svg|jpe?g|gif)$", re.IGNORECASE)
# At severity 1.0, for linear RGB.
BLIND = {
    "red-blind": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "green-blind": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)),
    "blue-blind": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.303900)),
}
_XYZ = ((0.4124564, 0.3575761, 0.1804375), (0.2126729, 0.7151522, 0.0721750), (0.0193339, 0.1191920, 0.9503041))


# --- pages ---


def problems(html: str) -> list[str]:
    """Every problem of a page, a sentence each."""
    page = BeautifulSoup(html, "html.parser")
    return [said for check in CHECKS for said in check(page)]


def language(page) -> list[str]:
    return [] if page.html is not None and page.html.get("lang") else ["the page does not say its language"]


def one_title(page) -> list[str]:
    titles = [title for title in page.find_all("title") if title.find_parent("svg") is None and title.text.strip()]
    found = [f"{len(titles)} titles" if len(titles) != 1 else "", _counted(page.find_all("h1"), "headings h1")]
    return [said for said in found if said]


def _counted(elements: list, name: str) -> str:
    return "" if len(elements) == 1 else f"{len(elements)} {name}"


def headings_in_steps(page) -> list[str]:
    levels = [int(heading.name[1]) for heading in page.find_all(re.compile("^h[1-6]$"))]
    return [f"a heading h{after} follows one h{before}" for before, after in zip([0, *levels], levels, strict=False)
            if after > before + 1]  # fmt: skip


def headings_say_something(page) -> list[str]:
    return [f"an empty heading {one.name}" for one in page.find_all(re.compile("^h[1-6]$")) if not one.text.strip()]


def pictures_described(page) -> list[str]:
    """An empty alt says that a picture is decoration, and ours are not; one word, or a file's name, tells nothing."""
    said = []
    for picture in page.find_all("img"):
        alt = (picture.get("alt") or "").strip()
        if len(alt.split()) < 3 or PICTURE_NAME.search(alt):
            said.append(f"a picture is described as '{alt}'")
    for drawing in page.find_all("svg"):
        hidden = drawing.get("aria-hidden") == "true"
        named = drawing.get("aria-label") or drawing.get("aria-labelledby") or drawing.find("title", recursive=False)
        if not hidden and not (drawing.get("role") == "img" and named):
            said.append("a drawing is neither named (role img, and a title or label) nor hidden")
    return said


def tables_headed(page) -> list[str]:
    said = []
    for table in page.find_all("table"):
        name = " ".join(table.get_text(" ").split())[:40]
        heads = table.find_all("th")
        if not heads:
            said.append(f"no cell heads others in the table '{name}'")
        if any(head.get("scope") not in ("col", "row", "colgroup", "rowgroup") for head in heads):
            said.append(f"a heading does not say what it heads in the table '{name}'")
        if not _named(table):
            said.append(f"neither caption nor heading nor name stands over the table '{name}'")
    return said


def _named(table) -> bool:
    """A caption, a heading since the table before, or a name of the box that it stands in."""
    if table.caption is not None and table.caption.text.strip():
        return True
    box = table.find_parent(role="region")
    above = table.find_previous(["table", re.compile("^h[2-6]$")])
    return bool(box and box.get("aria-label")) or (above is not None and above.name != "table")


def wide_ones_scroll(page) -> list[str]:
    """Tables and words as they are written stand in a box that scrolls, that keys reach, and that has a name."""
    said = []
    styles = " ".join(style.text for style in page.find_all("style"))
    for wide in page.find_all(["table", "pre"]):
        box = wide if wide.name == "pre" else wide.find_parent(role="region")
        if box is None or box.get("tabindex") != "0" or not box.get("aria-label") or not _scrolls(box, styles):
            said.append(f"a {wide.name} can be wider than a small screen and stands in no named box that scrolls")
    return said


def _scrolls(box, styles: str) -> bool:
    names = [box.name, *(f".{name}" for name in box.get("class", []))]
    return any(re.search(rf"(^|[\s,}}]){re.escape(name)}\s*{{[^}}]*overflow-x:\s*auto", styles) for name in names)


def nothing_forces_width(page) -> list[str]:
    """Pictures may name a width if the style sheet lets them shrink; nothing else may be wider than a small screen."""
    styles = " ".join(style.text for style in page.find_all("style"))
    inline = " ".join(f"{{{element['style']}}}" for element in page.find_all(style=True))
    fixed = re.findall(r"(?<!max-)width:\s*(\d+)px", styles + inline)
    said = [f"a width of {wide} pixels is fixed" for wide in fixed if int(wide) > NARROW]
    wide = [one for one in page.find_all(["img", "table", "td", "th", "svg"], width=True)
            if str(one["width"]).isdigit() and int(one["width"]) > NARROW]  # fmt: skip
    if wide and not re.search(r"img\s*(,[^{]*)?{[^}]*max-width:\s*100%", styles):
        said.append("pictures do not shrink on a small screen")
    return said + [f"a {one.name} of fixed width" for one in wide if one.name != "img"]


def links_say_where(page) -> list[str]:
    said = []
    for link in page.find_all("a", href=True):
        text = (link.get_text(" ").strip() or link.get("aria-label", "")).lower()
        if not text or text in VAGUE:
            said.append(f"a link says only '{text}'")
    return said


def landmarks(page) -> list[str]:
    """One main; navigations named, and apart where there are several; nothing that is read stands outside."""
    said = [_counted(page.find_all("main"), "main parts")]
    names = [one.get("aria-label", "") for one in page.find_all("nav")]
    said += ["a navigation without a name" for name in names if not name]
    said += [f"{count} navigations named '{name}'" for name, count in Counter(names).items() if name and count > 1]
    inside = ("header", "nav", "main", "footer", "aside", "style", "script")
    outside = [
        one for one in (page.body.find_all(True, recursive=False) if page.body else []) if one.name not in inside
    ]
    said += [f"a {one.name} outside of every landmark" for one in outside if one.get_text().strip()]
    return [one for one in said if one]


def order_of_keys(page) -> list[str]:
    return [f"a {one.name} jumps the order of the keyboard" for one in page.find_all(tabindex=True)
            if not re.fullmatch(r"0|-1", str(one["tabindex"]))]  # fmt: skip


def names_unique(page) -> list[str]:
    counts = Counter(element["id"] for element in page.find_all(id=True))
    said = [f"{count} elements are called '{name}'" for name, count in counts.items() if count > 1]
    asked = [word for one in page.find_all(attrs={"aria-labelledby": True}) for word in one["aria-labelledby"].split()]
    return said + [f"nothing is called '{name}', which names something" for name in asked if name not in counts]


def zoom_allowed(page) -> list[str]:
    view = page.find("meta", attrs={"name": "viewport"})
    if view is None:
        return ["no viewport: small screens show the page small"]
    told = view.get("content", "").replace(" ", "").lower()
    largest = re.search(r"maximum-scale=([\d.]+)", told)
    forbids = re.search(r"user-scalable=(no|0)", told) or (largest and float(largest[1]) < 2)
    return ["the page forbids zooming"] if forbids else []


def nothing_moves(page) -> list[str]:
    """Nothing blinks, runs or changes by itself, so that no setting against it is needed."""
    styles = " ".join(style.text for style in page.find_all("style"))
    moving = re.findall(r"\b(animation|transition)(?:-[a-z]+)?\s*:", styles) + [
        one.name for one in page.find_all(["marquee", "blink", "video", "animate"])
    ]
    return [f"something moves: {name}" for name in moving]


def colour_never_alone(page) -> list[str]:
    """Nothing is told by a colour that a single element is given; what the style sheet colours has words or a rule."""
    said = []
    for element in page.find_all(style=re.compile(r"(^|[;\s])(color|background(-color)?)\s*:")):
        said.append(f"a {element.name} is coloured by itself: '{element['style']}'")
    return said + [
        f"a {one.name} is coloured by itself" for one in page.find_all(["font"]) + page.find_all(bgcolor=True)
    ]


def links_underlined(page) -> list[str]:
    """A link in a sentence is known by more than its colour."""
    styles = " ".join(style.text for style in page.find_all("style"))
    bare = re.search(r"(^|[\s,}])a(:link)?\s*{[^}]*text-decoration:\s*none", styles)
    return ["links are told from words by colour alone"] if bare else []


CHECKS = (
    language, one_title, headings_in_steps, headings_say_something, pictures_described, tables_headed, wide_ones_scroll,
    nothing_forces_width, links_say_where, landmarks, order_of_keys, names_unique, zoom_allowed, nothing_moves,
    colour_never_alone, links_underlined,
)  # fmt: skip


# --- colours ---


def linear(colour: str) -> tuple[float, ...]:
    """Red, green and blue as light, 0 to 1."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    return tuple(part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)


def luminance(colour: str) -> float:
    """Relative luminance, 0 to 1, as WCAG 2.2 defines it."""
    return sum(share * part for share, part in zip((0.2126, 0.7152, 0.0722), linear(colour), strict=True))


def contrast(one: str, other: str) -> float:
    """1 to 21, as WCAG 2.2 defines it."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def mixed(colour: str, on: str, share: float) -> str:
    """A colour that covers another by a share, as screens mix them."""
    parts = [share * int(colour[at : at + 2], 16) + (1 - share) * int(on[at : at + 2], 16) for at in (1, 3, 5)]
    return "#" + "".join(f"{round(part):02x}" for part in parts)


def seen(light: tuple[float, ...], by: str) -> tuple[float, ...]:
    """Light as the colour-blind see it; `by` is of BLIND."""
    return tuple(min(1.0, max(0.0, sum(a * b for a, b in zip(row, light, strict=True)))) for row in BLIND[by])


def lab(light: tuple[float, ...]) -> tuple[float, float, float]:
    """CIELAB of light under D65: lightness from 0 to 100, and two axes of colour."""
    whole = [sum(row) for row in _XYZ]
    x, y, z = (
        _root(sum(a * b for a, b in zip(row, light, strict=True)) / white)
        for row, white in zip(_XYZ, whole, strict=True)
    )
    return 116 * y - 16, 500 * (x - y), 200 * (y - z)


def _root(share: float) -> float:
    return share ** (1 / 3) if share > (6 / 29) ** 3 else share / (3 * (6 / 29) ** 2) + 4 / 29


def lightness(colour: str) -> float:
    """L*, from 0 (black) to 100 (white): what is left of a colour in grey."""
    return lab((luminance(colour),) * 3)[0]


def distance(one: str, other: str, by: str) -> float:
    """How far apart two colours are to the colour-blind, in steps of CIELAB (CIE 1976)."""
    return (
        sum((a - b) ** 2 for a, b in zip(lab(seen(linear(one), by)), lab(seen(linear(other), by)), strict=True)) ** 0.5
    )


def alike(palette: dict[str, tuple[str, str]]) -> list[str]:
    """Pairs of a palette (name: colour and sign) that share their sign and are alike in grey or to the colour-blind.

    A sign is a hatch, a marker or a dash.
    """
    said = []
    for (name, (colour, sign)), (other, (second, own)) in combinations(palette.items(), 2):
        if sign != own:
            continue
        if (grey := abs(lightness(colour) - lightness(second))) < APART:
            said.append(f"{name} and {other} are alike in grey: {grey:.0f} apart")
        said += [f"{name} and {other} are alike to the {by}: {apart:.0f} apart" for by in BLIND
                 if (apart := distance(colour, second, by)) < APART]  # fmt: skip
    return said


# --- the style sheet ---


def too_faint(css: str, paper: str = "#ffffff") -> list[str]:
    """Text of a style sheet that has too little contrast, on every background that it can come to stand on.

    A rule with both colours is taken by itself. A dark background without a colour of its own is a bar or a rule
    without text: that needs the contrast of a graphic. Lines that only part one row from the next need none.
    """
    rules = [
        (name.strip(), dict(_declared(body, _variables(css)))) for name, body in re.findall(r"([^{}]+){([^{}]*)}", css)
    ]
    own = [(name, told) for name, told in rules if "color" in told and "background" in told]
    texts = {told["color"] for name, told in rules if "color" in told and "background" not in told}
    behind = {told["background"] for name, told in rules if "background" in told and "color" not in told} | {paper}
    bars = {colour for colour in behind if luminance(colour) < 0.5}
    said = [f"{name}: {told['color']} on {told['background']}" for name, told in own
            if contrast(told["color"], told["background"]) < TEXT]  # fmt: skip
    said += [
        f"{text} on {back}" for text in sorted(texts) for back in sorted(behind - bars) if contrast(text, back) < TEXT
    ]
    return said + [f"a bar of {bar}" for bar in sorted(bars) if contrast(bar, paper) < GRAPHIC]


def edges(css: str) -> dict[str, str]:
    """Thick borders of a style sheet, of two pixels or more, by rule: signs that must be seen."""
    variables = _variables(css)
    found = re.findall(r"([^{}]+){[^{}]*border[\w-]*:\s*([\d.]+)px\s+solid\s+([^;}]+)", css)
    return {name.strip(): _colour(colour, variables) for name, wide, colour in found if float(wide) >= 2}


def _variables(css: str) -> dict[str, str]:
    return {name: value.strip() for name, value in re.findall(r"(--[\w-]+):\s*([^;}]+)", css)}


def _declared(body: str, variables: dict[str, str]):
    for name, value in re.findall(r"(?:^|[;\s])(color|background(?:-color)?)\s*:\s*([^;}]+)", body):
        if _colour(value, variables):
            yield name.removesuffix("-color") if name.startswith("background") else name, _colour(value, variables)


def _colour(value: str, variables: dict[str, str]) -> str:
    """The "#rrggbb" that a value comes to; blank where it is none."""
    value = re.sub(r"var\((--[\w-]+)\)", lambda name: variables.get(name[1], ""), value).strip().lower()
    value = {"white": "#ffffff", "black": "#000000"}.get(value, value)
    if re.fullmatch("#[0-9a-f]{3}", value):
        return "#" + "".join(2 * sign for sign in value[1:])
    return value if re.fullmatch("#[0-9a-f]{6}", value) else ""
