"""What does a page do in a real browser? Without Chromium these tests are skipped, unless it is required."""

from __future__ import annotations

import os
import re
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, Playwright, Request, expect, sync_playwright
from waitress.server import create_server

from analysis.ledger import Ledger
from analysis.records import SourceFile, take_in
from dashboard.app import create_app
from dashboard.settings import Settings
from data_demo.workbooks import write_workbooks

CHROMIUM = Path("/usr/bin/chromium")
HOW_TO_GET_IT = f"{CHROMIUM} is not here: apt-get install chromium"
PATIENCE = 60_000  # ms: two cores, shared
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
expect.set_options(timeout=PATIENCE)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark everything in this folder as driving a browser."""
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    if not CHROMIUM.exists():
        if os.environ.get("DROPBRIGHT_REQUIRE_BROWSER"):
            pytest.fail(HOW_TO_GET_IT)
        pytest.skip(HOW_TO_GET_IT)
    with sync_playwright() as found:
        yield found


@pytest.fixture(scope="session")
def browser(playwright: Playwright) -> Iterator[Browser]:
    chromium = playwright.chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox"])
    yield chromium
    chromium.close()


@dataclass
class Visit:
    """One person's browser: its page, and whatever went wrong or out in it."""

    page: Page
    address: str
    faults: list[str] = field(default_factory=list)

    def open(self, path: str) -> Page:
        """Go to a path and wait until its page stands."""
        self.page.goto(self.address + path)
        self.page.locator("main h1").wait_for()
        return self.page

    def settled(self) -> Page:
        """Wait until no request is under way."""
        self.page.wait_for_load_state("networkidle")
        return self.page

    def answered(self, path: str) -> Page:
        """Go to a path and wait until its question is answered."""
        self.open(path)
        self.page.locator("main .answer", has_text=re.compile(r"\w")).first.wait_for()
        return self.settled()

    def unfolded(self, path: str, most: int = 1_000) -> Page:
        """Go to a path, wait for its answer, and unfold what stands behind it, the first ``most`` of it."""
        self.answered(path)
        self.page.evaluate(f"document.querySelectorAll('main details').forEach((one, n) => (one.open = n < {most}))")
        return self.page

    def violations(self) -> list[str]:
        """What breaks the rules of WCAG 2.2 AA and good practice on the page as it stands, as axe checks them."""
        found = Axe().run(self.page, options=RULES).response["violations"]
        return [f"{rule['id']}: {node['html'][:160]}" for rule in found for node in rule["nodes"]]


@contextmanager
def serving(ledger: Ledger, settings: Settings) -> Iterator[str]:
    """Serve the dashboard on a free port of this machine, as ``dropbright serve`` does."""
    server = create_server(create_app(ledger, settings).server, host="127.0.0.1", port=0, threads=8)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.effective_port}"
    finally:
        # closed by the server's own loop: it must not find a socket gone that it is waiting on
        server.trigger.pull_trigger(lambda: server.asyncore.close_all(server._map, ignore_all=True))
        thread.join(timeout=10)
        server.task_dispatcher.shutdown()


@pytest.fixture(scope="session")
def serve() -> Callable[..., AbstractContextManager[str]]:
    """Serve a dashboard on a ledger of the test's own."""
    return serving


@pytest.fixture(scope="session")
def workbooks(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, ...]:
    """The invented brewery's workbooks."""
    return tuple(write_workbooks(tmp_path_factory.mktemp("workbooks")))


@pytest.fixture(scope="session")
def demo_ledger(workbooks: tuple[Path, ...], tmp_path_factory: pytest.TempPathFactory) -> Iterator[Ledger]:
    """A ledger with the invented brewery on it."""
    with Ledger.open(f"sqlite:///{tmp_path_factory.mktemp('demo') / 'demo.sqlite'}") as ledger:
        ledger.commit(take_in([SourceFile(path, path.name) for path in workbooks]), by="demo")
        yield ledger


@pytest.fixture(scope="session")
def demo(demo_ledger: Ledger) -> Iterator[str]:
    """The address of a dashboard on the invented brewery."""
    with serving(demo_ledger, Settings(demo=True)) as address:
        yield address


@pytest.fixture
def own_demo(demo_ledger: Ledger, tmp_path: Path) -> Iterator[str]:
    """The address of a dashboard on a copy of the invented brewery's ledger, which a test may change."""
    with sqlite3.connect(demo_ledger.url) as source, sqlite3.connect(tmp_path / "own.sqlite") as copy:
        source.backup(copy)
    with Ledger.open(f"sqlite:///{tmp_path / 'own.sqlite'}") as ledger, serving(ledger, Settings(demo=True)) as address:
        yield address


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[str]:
    """The address of a dashboard on which nothing is on record yet."""
    with Ledger.open(f"sqlite:///{tmp_path / 'new.sqlite'}") as ledger, serving(ledger, Settings()) as address:
        yield address


Visiting = Callable[..., Visit]


@pytest.fixture
def visiting(browser: Browser) -> Iterator[Visiting]:
    """Open a browser on an address; at the end nothing may have gone wrong in it, and nothing may have gone out."""
    visits: list[Visit] = []

    def visit(address: str, *, width: int = 1440, height: int = 900, scheme: str = "light") -> Visit:
        context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=scheme)
        context.set_default_timeout(PATIENCE)
        seen = Visit(context.new_page(), address)
        seen.page.on("pageerror", lambda error: seen.faults.append(f"script: {error}"))
        seen.page.on("console", lambda said: said.type == "error" and seen.faults.append(f"console: {said.text}"))
        seen.page.on("request", lambda request: _note_foreign(seen, request))
        visits.append(seen)
        return seen

    yield visit
    for seen in visits:
        seen.page.context.close()
    assert [fault for seen in visits for fault in seen.faults] == []


def _note_foreign(seen: Visit, request: Request) -> None:
    if not request.url.startswith((seen.address, "data:", "blob:")):
        seen.faults.append(f"went out: {request.url}")
