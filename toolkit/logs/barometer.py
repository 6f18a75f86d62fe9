"""Which barometer a log has: what was decided, logged, stated or shown by a sensor at rest."""

import numpy as np

from toolkit.logs import pressure_reference
from toolkit.logs.column_values import quantity
from toolkit.logs.question import Decided
from toolkit.logs.weather import Weather

UNKNOWN = (np.nan, Decided("", "neither the file nor the review states it"))


def stated(settled, reading, review):
    """(barometer [Pa], where from) as the review, a column (its mean) or the preamble has it.

    settled: what each column is, as far as that is known. UNKNOWN where none says.
    """
    weather = Weather.from_strings(review.weather)
    if np.isfinite(weather.p_cell_pa):
        return weather.p_cell_pa, weather.evidence["p_cell_pa"]
    for s in settled:
        if s.channel == "p_cell_pa" and s.unit:
            values = quantity(s, reading, review)
            if np.isfinite(values).any():
                why = f"measured: the mean of column '{s.column}'"
                return float(np.nanmean(values)), Decided(s.column, why)
    found = pressure_reference.stated_barometer(reading.notes)
    return (float(found[0]), Decided(found[1], "stated in the file")) if found else UNKNOWN


def at_rest(settled, reading, review, off):
    """What an absolute sensor reads with the engine off (in the rows `off`); UNKNOWN without."""
    for s in settled:
        if s.kind == "pressure" and s.reference == "absolute" and s.unit:
            values = quantity(s, reading, review)[off]
            if np.isfinite(values).any():
                why = f"'{s.column}' in rows with the engine off"
                return float(np.nanmedian(values)), Decided(s.column, why)
    return UNKNOWN
