"""From a path to UTF-8 bytes: what kind of file it is, its encoding, and where its lines are."""

from __future__ import annotations

import codecs
import hashlib
import io
import mmap
import os
import stat
import tempfile
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from armarc.errors import FormatError
from armarc.files import LARGEST_VARIABLE, largest_recording_bytes, regular_size
from armarc.recording.encodings import likely_encoding

_MAP_ABOVE_BYTES = 1 << 24
_BLOCK_BYTES = 1 << 22
_SMALL_BYTES, _LARGEST_RATIO = 1 << 26, 200
"""Rows of rising times pack to a tenth or a hundredth; what shrinks further was made to fill a memory."""

_SIGNATURES: tuple[tuple[bytes, str], ...] = (
    (b"PK\x03\x04", "a zip archive (a spreadsheet or a zipped export)"),
    (b"PK\x05\x06", "an empty zip archive"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"\x89PNG", "a PNG picture"),
    (b"GIF8", "a GIF picture"),
    (b"%PDF", "a PDF document"),
    (b"\xd0\xcf\x11\xe0", "an old binary spreadsheet or document"),
    (b"SQLite format 3\x00", "an SQLite database"),
    (b"\x89HDF", "an HDF5 file"),
    (b"PAR1", "a Parquet file"),
    (b"\x93NUMPY", "a NumPy array"),
    (b"BZh", "a bzip2 archive"),
    (b"\xfd7zXZ", "an xz archive"),
    (b"7z\xbc\xaf", "a 7z archive"),
    (b"\x28\xb5\x2f\xfd", "a Zstandard archive"),
    (b"RIFF", "a sound or video file"),
    (b"\x7fELF", "a program"),
    (b"MATLAB 5.0", "a MAT file"),
    (b"bplist", "a binary property list"),
)
_TEXT_BYTES = bytes({7, 8, 9, 10, 12, 13, 26, 27, *range(32, 256)})
_EXPORT_HINT = "export the recording as a CSV text file and give that"


@dataclass(frozen=True, slots=True, kw_only=True)
class TextFile:
    """The text of a recording as UTF-8 bytes.

    ``data`` starts after any byte-order mark; ``sha256`` is that of the file as it lies on disk.
    """

    file: str
    data: bytes | mmap.mmap
    start: int
    sha256: str
    warnings: tuple[str, ...] = ()

    def head(self, size: int) -> bytes:
        """First `size` bytes, cut back to whole lines unless the file is shorter."""
        block = bytes(self.data[self.start : self.start + size])
        if self.start + size >= len(self.data):
            return block
        last = max(block.rfind(b"\n"), block.rfind(b"\r"))
        return block[: last + 1] if last >= 0 else block


def open_text(path: str | os.PathLike[str]) -> TextFile:
    """Open a CSV file, packed or not, in whatever encoding, as UTF-8 bytes.

    Raises
    ------
    FormatError
        The file is missing, a folder, empty, unreadable, or not a text table at all.
    """
    raw, name = _read(path)
    warnings: list[str] = []
    data: bytes | mmap.mmap = raw
    if raw[:2] == b"\x1f\x8b":
        data = _spooled(_unpacked(raw, name, warnings))
    _refuse_other_kinds(bytes(data[:4096]), name)
    data, start = _as_utf8(data, name, warnings)
    if bytes(data[start : start + 4096]).translate(None, _TEXT_BYTES):
        raise FormatError("this is a binary file, not a CSV recording", _EXPORT_HINT, file=name)
    if not bytes(data[start : start + 65536]).strip() and not bytes(data[start:]).strip():
        raise FormatError("the file is empty", "record or export it again", file=name)
    digest = hashlib.sha256(raw).hexdigest()  # last: only what may be a recording is read to its end
    return TextFile(file=name, data=data, start=start, sha256=digest, warnings=tuple(warnings))


def _read(path: str | os.PathLike[str]) -> tuple[bytes | mmap.mmap, str]:
    name = os.fspath(path)
    if "\x00" in name:
        raise FormatError("this is not a usable file name", "check the name", file=repr(name))
    try:
        status = os.stat(name)
        if stat.S_ISDIR(status.st_mode):
            raise FormatError("this is a folder, not a recording", "give the CSV file inside it", file=name)
        if regular_size(name, largest_recording_bytes()) > _MAP_ABOVE_BYTES:
            with open(name, "rb") as handle:
                return mmap.mmap(handle.fileno(), 0, access=mmap.ACCESS_READ), name
        return Path(name).read_bytes(), name
    except FileNotFoundError:
        raise FormatError("there is no such file", "check the name and the folder", file=name) from None
    except PermissionError:
        raise FormatError("the file may not be read", "check its permissions", file=name) from None
    except OSError as error:
        raise FormatError(f"the file cannot be read: {error.strerror or error}", file=name) from None


def _unpacked(raw: bytes | mmap.mmap, name: str, warnings: list[str]) -> Iterator[bytes]:
    """Blocks of unpacked gzip members; a cut or damaged tail costs only itself."""
    size, at, largest = 0, 0, largest_recording_bytes()
    while raw[at : at + 2] == b"\x1f\x8b":
        unpacker = zlib.decompressobj(wbits=31)
        rest = b""
        try:
            while not unpacker.eof and (rest or at < len(raw)):
                if not rest:
                    rest = bytes(raw[at : at + _BLOCK_BYTES])
                    at += len(rest)
                block = unpacker.decompress(rest, _BLOCK_BYTES)
                size += len(block)
                _refuse_bomb(size, at - len(unpacker.unconsumed_tail), largest, name)
                yield block
                rest = unpacker.unconsumed_tail
        except zlib.error as error:
            if not size:
                raise FormatError("the packed file is damaged", "copy it again", file=name) from error
            warnings.append(f"the packed file is damaged after {size} bytes; what came before was read")
            return
        if not unpacker.eof:
            warnings.append("the packed file ends early; what was there was read")
            return
        at -= len(unpacker.unused_data)


def _refuse_bomb(size: int, packed: int, largest: int, name: str) -> None:
    if size > largest:
        raise FormatError(
            f"the packed file unpacks to more than {largest >> 20} MB",
            f"split it, or allow more with the environment variable {LARGEST_VARIABLE}",
            file=name,
        )
    if size > _SMALL_BYTES and size > _LARGEST_RATIO * packed:
        raise FormatError(
            f"the packed file unpacks to more than {_LARGEST_RATIO} times its size, which no recording does",
            "unpack it and look inside",
            file=name,
        )


def _recoded(data: bytes | mmap.mmap, encoding: str, warnings: list[str]) -> Iterator[bytes]:
    """Blocks of the same text in UTF-8; what is not valid is left out and told once."""
    strict = codecs.getincrementaldecoder(encoding)()
    lenient = codecs.getincrementaldecoder(encoding)("ignore")
    whole = True
    for at in range(0, len(data), _BLOCK_BYTES):
        block, last = bytes(data[at : at + _BLOCK_BYTES]), at + _BLOCK_BYTES >= len(data)
        if whole:
            try:
                strict.decode(block, last)
            except UnicodeDecodeError as error:
                whole = False
                warnings.append(f"some characters are not valid {encoding.upper()} (byte {at + error.start})")
        yield lenient.decode(block, last).encode()


def _spooled(blocks: Iterable[bytes]) -> bytes | mmap.mmap:
    """Blocks as one buffer: in memory while that is little, else in a file nobody else sees."""
    little = bytearray()
    source = iter(blocks)
    for block in source:
        little += block
        if len(little) > 4 * _MAP_ABOVE_BYTES:
            break
    else:
        return bytes(little)
    try:
        with tempfile.TemporaryFile(prefix="armarc-") as file:
            file.write(little)
            little.clear()
            for block in source:
                file.write(block)
            file.flush()
            return mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
    except OSError as error:
        raise FormatError(
            f"there is no room to unpack the recording: {error.strerror or error}",
            "free some space in the folder for temporary files",
        ) from None


def _refuse_other_kinds(head: bytes, name: str) -> None:
    for signature, kind in _SIGNATURES:
        if head.startswith(signature):
            raise FormatError(f"this is {kind}, not a CSV recording", _EXPORT_HINT, file=name)
    if head[4:8] == b"ftyp":
        raise FormatError("this is a video file, not a CSV recording", _EXPORT_HINT, file=name)
    text = head.lstrip(b"\xef\xbb\xbf \t\r\n")
    lowered = text[:64].lower()
    if text[:1] == b"{" or (text[:1] == b"[" and text[1:].lstrip()[:1] in (b"{", b"[", b'"')):
        raise FormatError("this looks like JSON, not a CSV recording", _EXPORT_HINT, file=name)
    if lowered.startswith((b"<!doctype", b"<html", b"<?xml", b"<svg")):
        raise FormatError("this looks like a web page or XML, not a CSV recording", _EXPORT_HINT, file=name)


def _as_utf8(data: bytes | mmap.mmap, name: str, warnings: list[str]) -> tuple[bytes | mmap.mmap, int]:
    head = bytes(data[:4096])
    encoding = ""
    if head.startswith(b"\xef\xbb\xbf"):
        return data, 3
    if head.startswith((b"\xff\xfe\x00\x00", b"\x00\x00\xfe\xff")):
        encoding = "utf-32"
    elif head.startswith((b"\xff\xfe", b"\xfe\xff")):
        encoding = "utf-16"
    elif head[1::2].count(0) > 0.4 * len(head) // 2:
        encoding = "utf-16-le"
    elif head[0::2].count(0) > 0.4 * len(head) // 2:
        encoding = "utf-16-be"
    elif b"\x00" in head:
        raise FormatError("this is a binary file, not a CSV recording", _EXPORT_HINT, file=name)
    if encoding:
        if any(head[at : at + 2] == b"\x00\x00" for at in range(0, len(head), 2)) and encoding != "utf-32":
            raise FormatError("this is a binary file, not a CSV recording", _EXPORT_HINT, file=name)
        return _spooled(_recoded(data, encoding, warnings)), 0
    try:
        _check_utf8(data)
    except UnicodeDecodeError:
        return _spooled(_recoded(data, likely_encoding(bytes(data[:_BLOCK_BYTES])), warnings)), 0
    return data, 0


def _check_utf8(data: bytes | mmap.mmap) -> None:
    """Raise UnicodeDecodeError unless every line is UTF-8; blocks, so that a large file stays on disk."""
    if isinstance(data, bytes) and data.isascii():
        return
    size = 1 << 22
    carried = b""
    for start in range(0, len(data), size):
        block = carried + bytes(data[start : start + size])
        if block.isascii():
            carried = b""
            continue
        last = block.rfind(b"\n") + 1 if start + size < len(data) else len(block)
        block[:last].decode()
        carried = block[last:]
    carried.decode()


class SpanReader(io.RawIOBase):
    """Reads chosen byte ranges of a buffer as if they were one file, without copying the buffer."""

    def __init__(self, data: bytes | mmap.mmap, spans: Iterable[tuple[int, int]]) -> None:
        self._view = memoryview(data)
        self._spans = [span for span in spans if span[1] > span[0]]
        self._at = 0
        self._position = self._spans[0][0] if self._spans else 0

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: object) -> int:
        target = memoryview(buffer).cast("B")  # type: ignore[arg-type]
        if self._at >= len(self._spans):
            return 0
        end = self._spans[self._at][1]
        count = min(len(target), end - self._position)
        target[:count] = self._view[self._position : self._position + count]
        self._position += count
        if self._position >= end:
            self._at += 1
            if self._at < len(self._spans):
                self._position = self._spans[self._at][0]
        return count

    def close(self) -> None:
        self._view.release()
        super().close()
