"""Every page of a report before axe-core in Chromium, by the rules of WCAG 2.2 AA; .ci/run calls it after the suite.

    python tests/axe.py [a folder with pages ...]

Without a folder it makes a report of the invented group first. Where there is no Chromium or no axe-core, and neither
can be had, it says so in a line and stops with 0: what needs the network must fail nobody. It stops with 1 where a page
has a fault.
"""

import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import tarfile
import tempfile
from base64 import b64decode
from pathlib import Path
from urllib.parse import unquote

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from kit.pages.printing import browse, chromium  # noqa: E402

# axe-core is by Deque Systems, MPL-2.0; the print is SHA-256 of axe.min.js in its package, and nothing else is run.
VERSION, PRINT = "4.14.1", "29348999450cdf2849a8e70b7912fc2da85a849da39c0d0d5394f51d4a9ed95c"
KEPT = ROOT / ".venv" / f"axe-{VERSION}.min.js"
PLACES = (
    KEPT,
    Path("/usr/share/javascript/axe-core/axe.min.js"),
    Path("/usr/share/nodejs/axe-core/axe.min.js"),
    Path("/usr/lib/node_modules/axe-core/axe.min.js"),
)  # where Debian would put it, had it the package
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
ADVICE = "best-practice"  # no criterion of WCAG: printed, and no fault
NARROW = 320  # CSS pixels: WCAG 2.2, 1.4.10
PATIENCE = 600  # seconds for whatever is fetched
DUMPED = ("--window-size=1280,2000", "--virtual-time-budget=20000", "--dump-dom")
POLICY = re.compile(r'<meta http-equiv="Content-Security-Policy"[^>]*>')
PLANTED = (
    '<!doctype html><html lang="en"><head><title>Planted</title></head><body><main><h1>Planted</h1>'
    '<p style="color:#bbb;width:900px">faint</p><img src="data:,"></main></body></html>'
)
RUN = """
<script>{axe}</script>
<script>
const whole = document.documentElement.outerHTML.replace(/<script[^]*?<\\/script>/g, "");
const told = found => document.documentElement.innerHTML = "<body><pre id='told'>" + btoa(encodeURIComponent(
  JSON.stringify(found))) + "</pre></body>";
const narrow = () => new Promise(done => {{
  const frame = document.createElement("iframe");
  frame.style.width = "{narrow}px"; frame.style.border = "0";
  frame.onload = () => {{
    const page = frame.contentDocument, wide = page.documentElement.scrollWidth;
    const most = [...page.querySelectorAll("body *")].filter(one => one.getBoundingClientRect().right > {narrow} + 1
      && !one.parentElement.closest("[role=region], pre"));
    done(wide > {narrow} ? [wide, most.slice(0, 5).map(one => one.outerHTML.slice(0, 120))] : []);
  }};
  frame.srcdoc = whole;
  document.body.append(frame);
}});
window.addEventListener("load", async () => {{
  try {{
    const found = await axe.run({{runOnly: {rules}, resultTypes: ["violations", "incomplete"]}});
    const lines = found.violations.map(one => [one.id, one.help, one.nodes.map(node => node.html.slice(0, 160)),
      one.tags.includes("{advice}")]);
    told({{lines, unsure: found.incomplete.map(one => [one.id, one.nodes.length]), passed: found.passes.length,
      wide: await narrow()}});
  }} catch (stopped) {{ told({{stopped: String(stopped)}}); }}
}});
</script>
"""


def main(words: list[str]) -> int:
    """0 where no page has a fault or none can be examined here, else 1."""
    browser = chromium() or installed("chromium")
    if browser is None:
        return skipped("there is no Chromium here (on Debian: apt install chromium)")
    axe = axe_core()
    if axe is None:
        return skipped(f"axe-core {VERSION} is not here, and npm could not fetch it")
    with tempfile.TemporaryDirectory() as folder:
        planted = found_in(planted_page(Path(folder)), axe, Path(folder))
        if "stopped" in planted:
            return skipped(f"the Chromium that is here does not serve: {planted['stopped']}")
        if not {"color-contrast", "image-alt"} <= {rule for rule, *_ in planted["lines"]} or not planted["wide"]:
            print("axe: what is planted for it is not found, so nothing that it finds says anything")
            return 1
        folders = [Path(word) for word in words] or [invented_report(Path(folder))]
        pages = sorted({page for one in folders for page in one.rglob("*.html")})
        if not pages:
            print(f"axe: no page lies in {', '.join(map(str, folders))}")
            return 1
        faulty = [page.name for page in pages if not examined(page, axe, Path(folder))]
    print(f"axe: {len(pages)} pages, {len(faulty)} of them with a fault {', '.join(faulty)}".rstrip())
    return 1 if faulty else 0


def skipped(why: str) -> int:
    print(f"axe: skipped, {why}")
    return 0


def installed(*packages: str) -> Path | None:
    """Chromium after trying to install what is asked for, on a throw-away machine alone: as root, with CI set."""
    if os.environ.get("CI") and hasattr(os, "geteuid") and os.geteuid() == 0 and shutil.which("apt-get"):
        quietly(["apt-get", "-qq", "update"])
        quietly(["apt-get", "-qq", "-y", "--no-install-recommends", "install", *packages])
    return chromium()


def quietly(command: list[str], cwd: Path | None = None) -> bool:
    """Whether a command did what it is for; what it says is not shown."""
    try:
        surroundings = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
        done = subprocess.run(command, cwd=cwd, env=surroundings, capture_output=True, timeout=PATIENCE)
    except (OSError, subprocess.TimeoutExpired):
        return False
    return done.returncode == 0


def axe_core() -> str | None:
    """The text of axe.min.js of the one version that was looked at; None where it cannot be had."""
    told = (sound(place.read_bytes()) for place in PLACES if place.is_file())
    return next((text for text in told if text), None) or fetched()


def sound(written: bytes) -> str | None:
    """The text of what claims to be axe.min.js, if it is that and no other."""
    return written.decode("utf-8") if hashlib.sha256(written).hexdigest() == PRINT else None


def fetched() -> str | None:
    """axe-core by npm, the packager's own client, kept in .venv for the next time."""
    if not shutil.which("npm"):
        installed("npm")
    npm = shutil.which("npm")
    with tempfile.TemporaryDirectory() as folder:
        if not npm or not quietly([npm, "pack", "--fetch-retries=0", f"axe-core@{VERSION}"], Path(folder)):
            return None
        with tarfile.open(Path(folder) / f"axe-core-{VERSION}.tgz") as packed:
            written = packed.extractfile("package/axe.min.js").read()
    if KEPT.parent.is_dir():
        KEPT.write_bytes(written)
    return sound(written)


def invented_report(folder: Path) -> Path:
    """A report of the invented group, whose pages hold everything that a page can hold."""
    command = [sys.executable, "-m", "kit", "report", "--no-pdf", "--reports", str(folder)]
    subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
    return folder


def planted_page(folder: Path) -> Path:
    """A page with a faint sentence that is too wide and a picture without words; it goes to a folder of its own."""
    page = folder / "planted" / "planted.htm"  # not among the pages of a report
    page.parent.mkdir()
    page.write_text(PLANTED, encoding="utf-8")
    return page


def examined(page: Path, axe: str, folder: Path) -> bool:
    """Whether a page is without fault; its faults are printed."""
    told = found_in(page, axe, folder)
    if "stopped" in told:
        print(f"{page.name}: not examined, {told['stopped']}")
        return False
    for rule, says, places, advised in told["lines"]:
        title = f"{page.name}: {'advice: ' if advised else ''}{rule}: {says} ({len(places)})"
        print(title, *(f"    {place}" for place in places[:4]), sep="\n")
    if told["wide"]:
        wide, places = told["wide"]
        print(f"{page.name}: {wide} pixels wide on a screen of {NARROW}", *(f"    {one}" for one in places), sep="\n")
    unsure = ", ".join(f"{rule} ({places})" for rule, places in told["unsure"])
    print(f"{page.name}: {told['passed']} rules passed" + (f"; for a person to judge: {unsure}" if unsure else ""))
    return all(advised for *_, advised in told["lines"]) and not told["wide"]


def found_in(page: Path, axe: str, folder: Path) -> dict:
    """What axe-core finds in a page, and whether it is wider than a narrow screen.

    The page examined is a copy without the policy that forbids scripts, with two scripts at its end.
    """
    text = POLICY.sub("", page.read_text(encoding="utf-8"))
    # A closing tag within axe-core's own text would end the script.
    scripts = RUN.format(
        axe=axe.replace("</script", "<\\/script"), narrow=NARROW, rules=json.dumps(RULES), advice=ADVICE
    )
    copy = folder / "examined.html"
    copy.write_text(text.replace("</body>", f"{scripts}</body>"), encoding="utf-8")
    try:
        read = re.search(r'<pre id="told">([\w+/=]+)</pre>', browse(copy, folder, *DUMPED))
    except OSError:
        read = None
    return json.loads(unquote(b64decode(read[1]).decode("ascii"))) if read else {"stopped": "Chromium gave no answer"}


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
