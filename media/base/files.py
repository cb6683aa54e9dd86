"""Files that people bring in, kept by their content: the same file is kept once, and never rewritten."""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Iterable
from pathlib import Path

from media.base.errors import FettleError


def keep(chunks: Iterable[bytes], folder: Path, *, most: int, too_large: str) -> tuple[str, int]:
    """Write an upload into ``folder`` under its SHA-256; returns that and the size in bytes.

    Raises ``FettleError`` with ``too_large`` once more than ``most`` bytes came; nothing is left behind then.
    """
    folder.mkdir(parents=True, exist_ok=True)
    digest, size = hashlib.sha256(), 0
    with tempfile.NamedTemporaryFile(dir=folder, prefix="coming-", delete=False) as file:
        try:
            for chunk in chunks:
                size += len(chunk)
                if size > most:
                    raise FettleError(too_large)
                digest.update(chunk)
                file.write(chunk)
            file.flush()
            os.fsync(file.fileno())
            Path(file.name).replace(folder / digest.hexdigest())
        except BaseException:
            Path(file.name).unlink(missing_ok=True)
            raise
    return digest.hexdigest(), size
