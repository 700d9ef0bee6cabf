"""Letters built of block characters, so that the one thing to do now is read from two metres."""

from __future__ import annotations

from dataclasses import dataclass

from logger.console.glyphs import LOW, TALL, Glyph
from logger.console.pixels import pack_halves, pack_quadrants


@dataclass(frozen=True, slots=True)
class Face:
    """An alphabet and how many of its pixels share a terminal cell across (1 wide, 2 narrow)."""

    glyphs: dict[str, Glyph]
    across: int

    @property
    def height_px(self) -> int:
        """Pixels from top to base line."""
        return len(self.glyphs[" "])


FACES = (Face(TALL, 1), Face(LOW, 1), Face(TALL, 2), Face(LOW, 2))
"""Best to read from afar first."""
FIGURE_FACES = (Face(TALL, 1), Face(LOW, 1), Face(LOW, 2))


def big_lines(text: str, width: int, rows: int, faces: tuple[Face, ...] = FACES) -> list[str]:
    """The text in the largest face that fits `width` x `rows` cells; empty when none does."""
    wanted = text.replace("µ", "\0").upper().replace("\0", "µ").strip()
    for face in faces:
        drawn = _draw(wanted, face, width)
        if drawn and len(drawn) <= rows:
            return drawn
    return []


def _draw(text: str, face: Face, width: int) -> list[str]:
    """All lines of the text, empty when a letter is unknown or a word too wide."""
    if not text or any(char not in face.glyphs for char in text):
        return []
    lines = _break(text, face, width * face.across)
    if not lines:
        return []
    bitmap: list[str] = []
    for line in lines:
        bitmap += ["", *_raster(line, face)] if bitmap else _raster(line, face)
    return pack_halves(bitmap) if face.across == 1 else pack_quadrants(bitmap)


def _break(text: str, face: Face, width_px: int) -> list[str]:
    lines: list[str] = []
    for word in text.split():
        if _width_px(word, face) > width_px:
            return []
        if lines and _width_px(f"{lines[-1]} {word}", face) <= width_px:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def _width_px(text: str, face: Face) -> int:
    return sum(len(face.glyphs[char][0]) + 1 for char in text) - 1


def _raster(text: str, face: Face) -> list[str]:
    return [".".join(face.glyphs[char][row] for char in text) for row in range(face.height_px)]
