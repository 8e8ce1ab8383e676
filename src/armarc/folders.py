"""Where armarc keeps what the lifter may edit."""

from __future__ import annotations

import os
from pathlib import Path

CONFIG_VARIABLE = "ARMARC_CONFIG_DIR"
"""Environment variable that replaces the configuration folder."""


def config_folder() -> Path:
    """Folder of the settings file and of the lifter's own exercises; it need not exist."""
    chosen = os.environ.get(CONFIG_VARIABLE, "").strip()
    if chosen:
        return Path(os.path.expanduser(chosen))
    import platformdirs

    return Path(platformdirs.user_config_dir("armarc", appauthor=False))
