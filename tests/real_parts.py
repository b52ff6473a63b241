"""Real parts that tests use: a browser, readers of PDF. Where one is missing a test is skipped and says why; on the
build machine it fails."""

from __future__ import annotations

import importlib
import os
import shutil
from typing import Any, NoReturn

import pytest


def missing(what: str) -> NoReturn:
    """What a test needs is not here."""
    if os.environ.get("CI"):
        pytest.fail(f"{what} is not installed, and the build machine must have it")
    pytest.skip(f"{what} is not installed")


def program(*names: str) -> str:
    """The path of a program, by the first of its names that is installed."""
    return next((path for name in names if (path := shutil.which(name))), "") or missing(f"`{names[0]}`")


def library(name: str) -> Any:
    """Another library, by the name of its module."""
    try:
        return importlib.import_module(name)
    except ImportError:
        missing(f"the library `{name}`")
