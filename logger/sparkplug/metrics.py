"""Which metrics a bench has, their types and units. Node: the way to the plant. Device `rig`: run and result."""

from __future__ import annotations

from dataclasses import dataclass

from logger.publish.schemas import ucum_code
from logger.sparkplug.wire import DataType

DEVICE = "rig"
_TEXT, _REAL, _WHOLE, _YES_NO = DataType.STRING, DataType.DOUBLE, DataType.INT64, DataType.BOOLEAN


@dataclass(frozen=True, slots=True)
class Known:
    """A metric as its birth announces it. The alias is unique on the node."""

    name: str
    datatype: DataType
    alias: int

    @property
    def unit(self) -> str:
        """UCUM code; empty without one."""
        return (ucum_code(self.name) or "") if self.datatype in (_REAL, _WHOLE) else ""


_NODE: tuple[tuple[str, DataType], ...] = (
    ("Properties/software", _TEXT),
    ("Outbox/last_seq", _WHOLE),
    ("Outbox/waiting", _WHOLE),
    ("Outbox/set_aside", _WHOLE),
)
_LIVE: tuple[tuple[str, DataType], ...] = (
    ("state", _TEXT),
    ("run_id", _TEXT),
    ("mass_g", _REAL),
    ("mass_quality", _TEXT),
    ("stable", _YES_NO),
    ("dp_pa", _REAL),
    ("dp_quality", _TEXT),
    ("elapsed_s", _REAL),
    ("effective_s", _REAL),
    ("load_g", _REAL),
    ("load_pct", _REAL),
    ("rate_pct_per_min", _REAL),
    ("rate_u_pct_per_min", _REAL),
    ("limit_pct_per_min", _REAL),
    ("forecast_s", _REAL),
)
_RESULT: tuple[tuple[str, DataType], ...] = (
    ("seq", _WHOLE),
    ("run_id", _TEXT),
    ("revision", _WHOLE),
    ("review", _TEXT),
    ("simulated", _YES_NO),
    ("sample_id", _TEXT),
    ("lot", _TEXT),
    ("point", _TEXT),
    ("sampled_at", _TEXT),
    ("method_id", _TEXT),
    ("method_revision", _WHOLE),
    ("aperture_um", _REAL),
    ("tested_at", _TEXT),
    ("outcome", _TEXT),
    ("reason", _TEXT),
    ("charge_g", _REAL),
    ("residue_g", _REAL),
    ("residue_pct", _REAL),
    ("raw_residue_pct", _REAL),
    ("passing_pct", _REAL),
    ("expanded_u_pct", _REAL),
    ("decision", _TEXT),
    ("residue_max_pct", _REAL),
    ("residue_min_pct", _REAL),
    ("deviations", _WHOLE),
    ("record_sha256", _TEXT),
)
LIVE, RESULT = "Live", "Result"


def _numbered(first: int, names: list[tuple[str, DataType]]) -> tuple[Known, ...]:
    return tuple(Known(name, datatype, alias) for alias, (name, datatype) in enumerate(names, first))


NODE_METRICS = _numbered(1, list(_NODE))
DEVICE_METRICS = _numbered(
    len(NODE_METRICS) + 1,
    [(f"{LIVE}/{name}", kind) for name, kind in _LIVE]
    + [(f"{RESULT}/{name}", kind) for name, kind in _RESULT],
)
