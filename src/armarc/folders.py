"""Where armarc keeps what the lifter may edit, and what it keeps by itself."""

from __future__ import annotations

import os
from pathlib import Path

CONFIG_VARIABLE = "ARMARC_CONFIG_DIR"
"""Environment variable that replaces the configuration folder."""
DATA_VARIABLE = "ARMARC_DATA_DIR"
"""Environment variable that replaces the data folder."""


def config_folder() -> Path:
    """Folder of the settings file and of the lifter's own exercises; it need not exist."""
    chosen = os.environ.get(CONFIG_VARIABLE, "").strip()
    if chosen:
        return Path(os.path.expanduser(chosen))
    import platformdirs

    return Path(platformdirs.user_config_dir("armarc", appauthor=False))


def data_folder() -> Path:
    """Folder of the training log, its recordings and what else armarc keeps by itself; it need not exist."""
    chosen = os.environ.get(DATA_VARIABLE, "").strip()
    if chosen:
        return Path(os.path.expanduser(chosen))
    import platformdirs

    return Path(platformdirs.user_data_dir("armarc", appauthor=False))
