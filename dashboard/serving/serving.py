"""How the dashboard is started: the arguments given to Streamlit, in one place."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from ingest.limits import MAX_FILE_BYTES

APP = Path(__file__).parents[1] / "app.py"
SERVER = Path(__file__).with_name("server.py")
THEME = Path(__file__).parents[1] / "theme" / "ledger_paper.toml"
MAX_UPLOAD_MB = MAX_FILE_BYTES // 2**20  # what the file box says is what the readers take


def streamlit_arguments(
    *, address: str = "127.0.0.1", port: int = 8501, open_browser: bool = False
) -> list[str]:
    """Return the command that serves the dashboard: loopback by default, no usage reports, our theme."""
    options = {
        "server.address": address,
        "server.port": port,
        "server.headless": not open_browser,
        "server.fileWatcherType": "none",
        "server.maxUploadSize": MAX_UPLOAD_MB,
        "server.maxMessageSize": 20,
        "server.disconnectedSessionTTL": 1800,  # a phone that loses its connection finds its entries again
        "server.showEmailPrompt": False,
        "browser.gatherUsageStats": False,
        "client.toolbarMode": "minimal",
        "client.showErrorDetails": "none",
        "client.showErrorLinks": False,
        "theme.base": str(THEME),
    }
    flags = [
        f"--{key}={str(value).lower() if isinstance(value, bool) else value}"
        for key, value in options.items()
    ]
    return [sys.executable, "-m", "streamlit", "run", str(SERVER), *flags]


def start(ledger: Path, **where: object) -> subprocess.Popen[bytes]:
    """Start serving `ledger` and return the running process; `where` as for `streamlit_arguments`."""
    environment = os.environ | {"PUMPLEDGER": str(ledger.resolve())}
    return subprocess.Popen(streamlit_arguments(**where), env=environment)  # type: ignore[arg-type]
