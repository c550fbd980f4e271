"""Makes the pictures of the README from a report of the invented group: one of the page, and its main figures.

    python docs/pictures.py                a report is made first, which takes one to three minutes
    python docs/pictures.py a/report/r1    from a revision that is there

The page needs Chromium; where there is none its picture stays as it is, and that is said.
"""

import subprocess
import sys
import tempfile
from io import BytesIO
from pathlib import Path

from PIL import Image

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from kit.alive import own_temporary  # noqa: E402
from kit.followed import standing_of  # noqa: E402
from kit.pages.display import png  # noqa: E402
from kit.pages.printing import browse  # noqa: E402
from kit.pages.size_figures import standing_figure  # noqa: E402
from kit.study import read_study  # noqa: E402

HERE = ROOT / "docs"
INVENTED = ROOT / "data" / "synthetic" / "lifelike"
PAGE, COLOURS = (1040, 1300), 128
WIDEST, HEAVIEST = 1000, 60_000  # pixels; bytes of a figure, of the page twice as many
# What a report keeps among its figures, by the name of the picture.
KEPT = {"comparison": "beside", "where-wounds-stood": "closing", "sessions-due": "due"}


def main(words: list[str]) -> int:
    """0 where every picture was made, else 1."""
    with tempfile.TemporaryDirectory() as folder:
        revision = Path(words[0]) if words else reported(Path(folder))
        internal = revision / "internal"
        if not (internal / "page.html").is_file():
            print(f"{revision}: no revision of a report; name its folder, like reports/<scope>/<quarter>/r1")
            return 1
        for name, kept in KEPT.items():
            save(HERE / f"{name}.png", quantised((internal / "figures" / f"{kept}.png").read_bytes(), WIDEST))
        save(HERE / "sizes.png", quantised(sizes(), WIDEST))
        return photographed(internal / "page.html", HERE / "page.png")


def reported(folder: Path) -> Path:
    """A report of the invented group; its revision."""
    command = [sys.executable, "-m", "kit", "report", str(INVENTED), "--no-pdf", "--reports", str(folder)]
    subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
    return next(folder.glob("*/*/r1"))


def sizes() -> bytes:
    """How fast each open wound shrinks beside wounds like it: a report shows it in a notebook alone."""
    return png(standing_figure(standing_of(read_study(INVENTED))))


def quantised(picture: bytes, widest: int) -> bytes:
    """A picture no wider than so many pixels, in few colours, without anything else in the file."""
    image = Image.open(BytesIO(picture)).convert("RGB")
    if image.width > widest:
        image = image.resize((widest, round(image.height * widest / image.width)), Image.Resampling.LANCZOS)
    few = image.quantize(COLOURS, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
    out = BytesIO()
    few.save(out, format="PNG", optimize=True)
    return out.getvalue()


def save(file: Path, picture: bytes, heaviest: int = HEAVIEST) -> None:
    file.write_bytes(picture)
    said = "" if len(picture) <= heaviest else f", heavier than {heaviest // 1000} kB"
    print(f"{file.name}: {len(picture) / 1000:.0f} kB{said}")


def photographed(page: Path, file: Path) -> int:
    """The upper part of a page as a small screen of a desk shows it."""
    with own_temporary() as folder:
        taken = folder / "page.png"
        size = f"--window-size={PAGE[0]},{PAGE[1]}"
        try:
            browse(page, folder, size, "--hide-scrollbars", f"--screenshot={taken}")
            save(file, quantised(taken.read_bytes(), PAGE[0]), 2 * HEAVIEST)
        except OSError:
            print(f"{file.name}: left as it is; there is no Chromium here, or it took no picture")
            return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
