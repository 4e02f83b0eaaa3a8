"""What pages weigh, and how long a browser takes to the first drawn waveform of six channels of 200 000 points."""

import os

os.environ["OPENBLAS_NUM_THREADS"] = "1"

import argparse
import re
import shutil
import statistics
import sys
import tempfile
from contextlib import closing, contextmanager
from pathlib import Path

from figures import Figure, print_figures
from playwright.sync_api import sync_playwright

from station.cli.serve import opened_site
from station.cli.setup import write_folder
from station.cli.workplace import open_workplace
from station.clock import system_clock
from station.listener import bound, running
from station.screens.access import may
from station.screens.app import PAGES
from station.screens.demo_people import PEOPLE, let_in
from station.screens.server import HOST, make_server
from station.sequence.progress import unwatched
from station.sequence.station_file import load_station

SERIAL = "CP40-0102"
NAMED = {"{serial}": SERIAL, "{run}": "1", "{number}": "1", "{kind}": "limits", "{name}": "CP-40.toml"}
SAMPLES = 200_000
MOST_KB = 300.0
MOST_S = 1.0
# Tells when the second frame after a waveform was drawn was shown; the clock began with the navigation.
DRAWN = """() => new Promise((done) => {
  const after = () => requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now())));
  const look = () => document.querySelector(".waves[data-drawn]") ? after() : setTimeout(look, 1);
  look();
})"""
SHOWN = "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now()))))"
ARGS = ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-background-networking")
EMPTY = "data:text/html,<!doctype html><title>empty</title>"
SHOWN_PAGES = 6
ALIKE = 3       # addresses of one kind of page that are weighed; more would tell nothing new


@contextmanager
def station():
    """Yield a site with one tested motor whose first capture has at least `SAMPLES` points, and its address."""
    with tempfile.TemporaryDirectory() as folder:
        line = Path(folder) / "line"
        write_folder(line, pace=50.0, free_ports=True)
        sequence = line / "sequences" / "standard.toml"
        longer = sequence.read_text("utf-8").replace("revolutions = 12.0", "revolutions = 13.4")
        sequence.write_text(longer, "utf-8")
        here = load_station(line / "station.toml")
        with open_workplace(here, "benchmark") as place:
            place.test(SERIAL, unwatched)
        with opened_site(here, system_clock(), look_only=False) as site, closing(bound(HOST, 0)) as listening:
            let_in(here, site.trail, "benchmark")
            port = listening.getsockname()[1]
            with running(make_server(site, port), listening) as server:
                yield site, f"http://{HOST}:{port}"
                server.force_exit = True


@contextmanager
def sitting(browser, address, person):
    """Yield a page of a browser that has kept nothing, signed in as `person`."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    if person.badge:
        page.goto(f"{address}/rig")
        page.fill("[name=text]", person.badge)
        page.click("form.fields button")
    else:
        page.goto(f"{address}/sign-in")
        page.fill("[name=name]", person.name)
        page.fill("[name=password]", person.password)
        page.click("main button")
    page.wait_for_url(lambda url: "sign-in" not in url and "rig" not in url)
    yield page
    context.close()


def weigh(page, url):
    """Open a page with nothing kept from before; return its weight on the wire in kB, and where its links lead."""
    finished = []

    def note(request):
        finished.append(request)

    page.on("requestfinished", note)
    page.goto(url)
    if page.locator(".waves").count():
        page.locator(".waves[data-drawn]").wait_for()
    page.wait_for_timeout(300)      # what scripts still ask for; the stream of the line never ends
    page.remove_listener("requestfinished", note)
    sizes = [request.sizes() for request in finished]
    links = page.eval_on_selector_all("a[href]", "links => links.map((link) => link.href)")
    return sum(size["responseBodySize"] + size["responseHeadersSize"] for size in sizes) / 1000, links


def kind_of(path):
    """Return the row of the table of pages that `path` is an address of, or None."""
    parts = path.split("/")
    for page in PAGES:
        named = page.path.split("/")
        if not page.post and len(named) == len(parts) and all(
                name == part or (name.startswith("{") and part) for name, part in zip(named, parts, strict=True)):
            return page
    return None


def is_page(page, url):
    """Return whether an address answers with a page to look at, and not with a file to keep."""
    answer = page.context.request.get(url)
    return answer.ok and answer.headers["content-type"].startswith("text/html")


def weigh_all(browser, address):
    """Follow every link that each person is shown; return the weight of each page by its path."""
    weights, seen = {}, {}
    for person in PEOPLE:
        with sitting(browser, address, person) as page:
            tools = page.context.new_cdp_session(page)
            tools.send("Network.enable")
            tools.send("Network.setCacheDisabled", {"cacheDisabled": True})
            waiting = [page.url, *(address + re.sub(r"\{\w+\}", lambda found: NAMED.get(found[0], found[0]), row.path)
                                   for row in PAGES if not row.post)]
            while waiting:
                url = waiting.pop(0).partition("#")[0]
                path, row = url.removeprefix(address), kind_of(url.removeprefix(address).partition("?")[0])
                if row is None or path in weights or seen.get(row.path, 0) >= ALIKE or not may([person.role], row.duty):
                    continue
                seen[row.path] = seen.get(row.path, 0) + 1
                if is_page(page, url):
                    weights[path], links = weigh(page, url)
                    waiting += links
    return weights


def seconds_to(page, url, awaited):
    """Return the seconds from asking for a page until `awaited`, a promise of the page, tells that it is shown."""
    page.goto(url, wait_until="commit")
    return page.evaluate(awaited) / 1000


def waveform_times(browser, address, trials):
    """Return the times (s) to the first waveform in a browser that has kept nothing, and to an empty page in it."""
    (engineer,) = [person for person in PEOPLE if person.role == "engineer"]
    drawn, empty = [], []
    for _ in range(trials):
        with sitting(browser, address, engineer) as page:
            empty.append(seconds_to(page, EMPTY, SHOWN))
            drawn.append(seconds_to(page, f"{address}/tests/{SERIAL}/1", DRAWN))
            said = page.locator(".waves").get_attribute("data-drawn")
            assert int(said) > 1, "an envelope of all samples was to be drawn"
    return drawn, empty


def samples_of(site):
    """Return how many samples each channel of the first capture has, and how many channels."""
    with site.store() as store:
        (record,) = store.show(SERIAL)
        first = store.captures({**record, "captures": record["captures"][:1]})[0]
    return first.size, len(first.codes)


def main(arguments=None):
    """Print the table; 0 only if every figure is met."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=9, help="times that the waveform is asked for")
    trials = parser.parse_args(arguments).trials
    with station() as (site, address), sync_playwright() as play:
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=list(ARGS))
        size, channels = samples_of(site)
        drawn, empty = waveform_times(browser, address, trials)
        weights = weigh_all(browser, address)
        browser.close()
    heaviest = sorted(weights.items(), key=lambda each: -each[1])
    looked_at = f"{len(weights)} pages of {len({kind_of(path.partition('?')[0]).path for path in weights})} kinds"
    figures = [
        Figure("channels of the waveform", channels, least=6),
        Figure("samples of each", size, least=SAMPLES),
        # On a busy machine all but the quickest measure the machine.
        Figure("asked for until drawn, nothing kept from before: quickest", min(drawn), most=MOST_S, unit="s"),
        Figure("the same, median", statistics.median(drawn), unit="s"),
        Figure("over an empty page, quickest of both", min(drawn) / min(empty)),
        *(Figure(f"weight of {path}", weight, most=MOST_KB, unit="kB") for path, weight in heaviest[:SHOWN_PAGES]),
        Figure(f"weight of {looked_at}, median", statistics.median(weights.values()), unit="kB"),
    ]
    return print_figures(f"Pages in Chromium, on this computer ({trials} times)", figures)


if __name__ == "__main__":
    sys.exit(main())
