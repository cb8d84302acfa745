"""A worker's phone in a real browser: signed in, enrolled, with data; its modules driven as its screens do it."""

from __future__ import annotations

from typing import Any

from playwright.sync_api import Page, expect

# A clock that a test can set while the page runs: Date.now alone is what the client reads.
CLOCK = """() => { const real = Date.now.bind(Date); globalThis.skew = Number(sessionStorage.skew || 0);
  Date.now = () => real() + globalThis.skew; }"""


def enrolled(page: Page, address: str) -> None:
    """Open the client on a phone whose person is signed in, enrol it, and fetch its data."""
    page.goto(f"{address}/truck/")
    expect(page.locator("html")).to_have_attribute("data-kept", "yes")  # the worker holds the shell
    assert run(page, "await who.ask(); return data.refresh();") == {"ok": True}


def run(page: Page, script: str, **values: Any) -> Any:
    """Run a script with the modules `data`, `queue`, `asking`, `time`, `store`, `signed`, `verdict`, `who` at hand."""
    return page.evaluate(
        f"""async (values) => {{
          const at = document.documentElement.dataset.static;
          const [data, queue, asking, time, store, signed, verdict, who] = await Promise.all(
            ['data', 'queue', 'ask', 'time', 'store', 'signed', 'verdict', 'who'].map(
              (name) => import(`${{at}}${{name}}.js`)));
          await data.ready;
          {script}
        }}""",
        values,
    )


def asked(page: Page, code: str) -> list[list[Any]]:
    """[source, verdict, code of the first reason, worse] of each answer that is shown, in turn."""
    return run(
        page,
        """const shown = [];
        await asking.ask(values.code, {onAnswer: (one) => shown.push(
          [one.source, one.verdict, one.reasons[0]?.code ?? '', one.worse])});
        return shown;""",
        code=code,
    )


def waiting(page: Page) -> list[list[str]]:
    """[kind, state, code] of what is not sent yet."""
    return run(page, "return (await queue.list()).map((row) => [row.record.kind, row.state, row.code]);")


def emptied(page: Page) -> None:
    """Wait until everything is sent."""
    run(
        page,
        """while ((await queue.list()).length) {
          await queue.send();
          if ((await queue.list()).length) await new Promise((done) => setTimeout(done, 50));
        }""",
    )
