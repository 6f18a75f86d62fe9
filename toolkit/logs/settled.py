"""What one column of a log is taken for, and why."""

from dataclasses import dataclass, replace

from toolkit.logs.channels import CHANNELS


@dataclass(frozen=True)
class Settled:
    """What one column is.

    channel: ours, or "" (kept under its own name). confidence: certain, likely, answered, ask or
    unknown. unit, reference: "" while not known. why: the reasons, in words.
    """

    column: str
    channel: str
    confidence: str
    unit: str = ""
    reference: str = ""
    why: str = ""

    @property
    def kind(self):
        """The kind of quantity, "" for a column without a channel."""
        return CHANNELS[self.channel].kind if self.channel else ""

    def because(self, why, **changes):
        """A copy with a further reason, if it is new, and other changes."""
        if why in self.why:
            return replace(self, **changes)
        return replace(self, why=f"{self.why}; {why}" if self.why else why, **changes)


def only(columns, channel):
    """The one column with this channel, None where none or several have it."""
    found = [s for s in columns if s.channel == channel]
    return found[0] if len(found) == 1 else None
