"""What all tests share: a skipped test fails the run where every test must run."""

import os

import pytest


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave the long runs out unless a marker expression asks for them."""
    if "long" in config.getoption("markexpr"):
        return
    long = [item for item in items if item.get_closest_marker("long")]
    if long:
        config.hook.pytest_deselected(items=long)
        items[:] = [item for item in items if not item.get_closest_marker("long")]


@pytest.hookimpl(trylast=True)
def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Name skipped tests as failures where HOURMARK_NO_SKIPS is set."""
    skipped = terminalreporter.stats.get("skipped", [])
    if os.environ.get("HOURMARK_NO_SKIPS") and skipped:
        for report in skipped:
            terminalreporter.write_line(f"skipped, but every test must run here: {report.nodeid}")


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    """Fail the run that skipped a test where none may be."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("HOURMARK_NO_SKIPS") and reporter is not None and reporter.stats.get("skipped"):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
