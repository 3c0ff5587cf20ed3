"""Triangle files: STL and 3MF written whole, and read with every doubt turned into a fault.

STL: 80 bytes of header, a count, then 50 bytes a triangle (the format's common description, from
memory); text STL is read too. 3MF: a zip of XML after the 3MF Core Specification (the parts used
here from memory: content types, relationships, ``3D/3dmodel.model`` with objects and a build).
"""

from __future__ import annotations

import io
import math
import re
import struct
import zipfile
from pathlib import Path
from xml.etree import ElementTree
from xml.sax.saxutils import quoteattr

import numpy as np

from optimizer.faults import ConfigError, Fault

Mesh = tuple[np.ndarray, np.ndarray]
"""Vertices, shape (n, 3), and triangles as indexes, shape (m, 3)."""

MOST_BYTES = 256 * 2**20
MOST_TRIANGLES = 4_000_000
LARGEST = 1e7
"""Largest coordinate that is read, in the file's unit [1]."""

_SPACE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
UNIT_MM = {"micron": 1e-3, "millimeter": 1.0, "centimeter": 10.0, "inch": 25.4, "foot": 304.8, "meter": 1e3}
"""Units that a 3MF file may name [mm]."""


def stl_bytes(mesh: Mesh, title: str) -> bytes:
    """Binary STL of a mesh in millimetres, without triangles whose corners become one in single precision."""
    vertices, triangles = mesh
    corners = vertices[triangles].astype("<f4")
    kept = np.any(corners != np.roll(corners, 1, axis=1), axis=2).all(axis=1)
    corners = corners[kept]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]).astype("<f4")
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    record = np.zeros(len(corners), dtype=[("n", "<f4", 3), ("c", "<f4", (3, 3)), ("a", "<u2")])
    record["n"] = normal / np.where(length > 0.0, length, 1.0)
    record["c"] = corners
    header = title.encode("ascii", "replace")[:80].ljust(80)
    return header + struct.pack("<I", len(corners)) + record.tobytes()


def threemf_bytes(meshes: dict[str, Mesh], title: str) -> bytes:
    """3MF of named meshes in millimetres, one object each, in their own coordinates."""
    objects, items = [], []
    for number, (name, (vertices, triangles)) in enumerate(meshes.items(), start=1):
        points = "".join(f'<vertex x="{x:.6f}" y="{y:.6f}" z="{z:.6f}"/>' for x, y, z in vertices)
        faces = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in triangles)
        objects.append(
            f'<object id="{number}" type="model" name={quoteattr(name)}><mesh><vertices>{points}</vertices>'
            f"<triangles>{faces}</triangles></mesh></object>"
        )
        items.append(f'<item objectid="{number}"/>')
    model = (
        f'<?xml version="1.0" encoding="UTF-8"?><model unit="millimeter" xml:lang="en" xmlns="{_SPACE}">'
        f'<metadata name="Title">{title.translate({38: " ", 60: " ", 62: " "})}</metadata>'
        f"<resources>{''.join(objects)}</resources><build>{''.join(items)}</build></model>"
    )
    relations = "http://schemas.openxmlformats.org/package/2006"
    kinds = (
        f'<?xml version="1.0" encoding="UTF-8"?><Types xmlns="{relations}/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>'
        "</Types>"
    )
    start = (
        f'<?xml version="1.0" encoding="UTF-8"?><Relationships xmlns="{relations}/relationships">'
        '<Relationship Target="/3D/3dmodel.model" Id="rel0" '
        'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>'
    )
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in (
            ("[Content_Types].xml", kinds),
            ("_rels/.rels", start),
            ("3D/3dmodel.model", model),
        ):
            entry = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, text)
    return buffer.getvalue()


def read_meshes(path: Path) -> tuple[dict[str, Mesh], float | None]:
    """Meshes of an STL or 3MF file.

    Parameters
    ----------
    path : Path
        File [path].

    Returns
    -------
    tuple of dict and float or None
        Meshes by name; millimetres a unit where the file names its unit [mm].

    Raises
    ------
    ConfigError
        The file cannot be read as triangles, with the reason.
    """
    try:
        if path.is_file() and path.stat().st_size > MOST_BYTES:
            raise refusal(
                path, f"{path.stat().st_size / 2**20:.0f} MB; at most {MOST_BYTES // 2**20} MB are read"
            )
        data = path.read_bytes()
    except FileNotFoundError:
        raise refusal(path, "no such file") from None
    except IsADirectoryError:
        raise refusal(path, "is a directory, not a file") from None
    except (OSError, ValueError) as error:
        raise refusal(path, f"cannot be read: {getattr(error, 'strerror', None) or error}") from None
    if not data:
        raise refusal(path, "is empty")
    if data[:4] == b"PK\x03\x04":
        return _read_3mf(path, data)
    return {path.stem: read_stl(data, path)}, None


def read_stl(data: bytes, path: Path = Path("stl")) -> Mesh:
    """Mesh of an STL file's content.

    Raises
    ------
    ConfigError
        It cannot be read as triangles.
    """
    return _checked(path, _stl_corners(path, data))


def refusal(path: Path, message: str, key: str = "file") -> ConfigError:
    """Fault of a file as a whole."""
    return ConfigError([Fault(str(path), 1, key, message)])


def _stl_corners(path: Path, data: bytes) -> np.ndarray:
    """Corners of every triangle, shape (m, 3, 3)."""
    if len(data) >= 84:
        (count,) = struct.unpack("<I", data[80:84])
        if len(data) == 84 + 50 * count:
            if count > MOST_TRIANGLES:
                raise refusal(path, f"{count} triangles; at most {MOST_TRIANGLES} are read")
            record = np.dtype([("n", "<f4", 3), ("c", "<f4", (3, 3)), ("a", "<u2")])
            return np.asarray(np.frombuffer(data, dtype=record, offset=84)["c"], dtype=float)
        if not data.lstrip()[:5].lower() == b"solid":
            message = f"not an STL or 3MF file, or cut short: its header tells {count} triangles, which take"
            raise refusal(path, f"{message} {84 + 50 * count} bytes, but it has {len(data)}")
    found = re.findall(rb"vertex\s+(\S+)\s+(\S+)\s+(\S+)", data)
    if data.lstrip()[:5].lower() != b"solid" or not found:
        raise refusal(path, "not an STL or 3MF file: neither a binary nor a text model")
    if len(found) % 3:
        raise refusal(path, f"{len(found)} corners do not make whole triangles; the file is cut short")
    if len(found) > 3 * MOST_TRIANGLES:
        raise refusal(path, f"{len(found) // 3} triangles; at most {MOST_TRIANGLES} are read")
    try:
        return np.array(found, dtype="S32").astype(float).reshape(-1, 3, 3)
    except ValueError:
        raise refusal(path, "a corner has a coordinate that is not a number") from None


def _checked(path: Path, corners: np.ndarray) -> Mesh:
    """Corners merged into vertices, with triangles of no area dropped."""
    if len(corners) == 0:
        raise refusal(path, "holds no triangles")
    if not np.all(np.isfinite(corners)):
        raise refusal(path, "a corner has a coordinate that is not finite")
    if np.abs(corners).max() > LARGEST:
        raise refusal(path, f"a coordinate of {np.abs(corners).max():.3g}; at most {LARGEST:.3g} are read")
    vertices, index = np.unique(corners.reshape(-1, 3), axis=0, return_inverse=True)
    return vertices, _proper(np.asarray(index).reshape(-1, 3))


def _proper(triangles: np.ndarray) -> np.ndarray:
    a, b, c = triangles.T
    return np.asarray(triangles[(a != b) & (b != c) & (c != a)])


def _read_3mf(path: Path, data: bytes) -> tuple[dict[str, Mesh], float]:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = [info for info in archive.infolist() if info.filename.lower().endswith(".model")]
            if not names:
                raise refusal(path, "a zip file without a 3MF model in it")
            if sum(info.file_size for info in names) > MOST_BYTES:
                raise refusal(path, f"unpacks to more than {MOST_BYTES // 2**20} MB")
            with archive.open(names[0]) as member:
                text = member.read(MOST_BYTES + 1)
        if len(text) > MOST_BYTES:
            raise refusal(path, f"unpacks to more than {MOST_BYTES // 2**20} MB")
        if b"<!DOCTYPE" in text or b"<!ENTITY" in text:
            raise refusal(path, "its model declares entities, which 3MF has no use for")
        root = ElementTree.fromstring(text)
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError) as error:
        raise refusal(path, f"damaged zip file: {error}") from None
    except ElementTree.ParseError as error:
        raise refusal(path, f"its model is not XML: {error}") from None
    except Exception as error:
        if isinstance(error, ConfigError):
            raise
        raise refusal(path, f"damaged: {error}") from None
    unit = UNIT_MM.get(root.get("unit", "millimeter"))
    if unit is None:
        raise refusal(path, f"unknown unit {root.get('unit')!r}", key="unit")
    meshes: dict[str, Mesh] = {}
    for item in root.iter(f"{{{_SPACE}}}object"):
        mesh = item.find(f"{{{_SPACE}}}mesh")
        if mesh is not None:
            name = item.get("name") or f"object {item.get('id', '?')}"
            meshes[name if name not in meshes else f"{name} {len(meshes) + 1}"] = _mesh_of(path, mesh)
    if not meshes:
        raise refusal(path, "holds no meshes")
    placed = [item for item in root.iter(f"{{{_SPACE}}}item") if item.get("transform")]
    if placed:
        raise refusal(path, "places objects by transforms, which are not read: export it with them applied")
    return meshes, unit


def _mesh_of(path: Path, mesh: ElementTree.Element) -> Mesh:
    try:
        points = [[float(v.get(k, "nan")) for k in "xyz"] for v in mesh.iter(f"{{{_SPACE}}}vertex")]
        faces = [
            [int(t.get(k, "-1")) for k in ("v1", "v2", "v3")] for t in mesh.iter(f"{{{_SPACE}}}triangle")
        ]
    except ValueError as error:
        raise refusal(path, f"a mesh holds what is not a number: {error}") from None
    if not points or not faces:
        raise refusal(path, "holds a mesh without triangles")
    index = np.array(faces)
    if index.min() < 0 or index.max() >= len(points):
        raise refusal(path, f"a triangle names corner {index.max()} of {len(points)}")
    if not all(math.isfinite(x) for point in points for x in point):
        raise refusal(path, "a corner has a coordinate that is not finite")
    return _checked(path, np.array(points)[index])
