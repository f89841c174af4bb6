"""Words of the trade that findings, photographs and readings may carry."""

from enum import StrEnum


class FindingKind(StrEnum):
    """What a person says a candidate is (common practice, no source)."""

    FISSURE = "fissure"
    FEATHER = "feather"
    FILLED_FISSURE = "filled fissure"
    FINGERPRINT = "fingerprint"
    NEEDLE = "needle"
    CRYSTAL = "crystal"
    NEGATIVE_CRYSTAL = "negative crystal"
    DARK_INCLUSION = "dark inclusion"
    PINPOINT = "pinpoint"
    CLOUD = "cloud"
    GAS_BUBBLE = "gas bubble"
    GLASS_FILLED_CAVITY = "glass-filled cavity"
    CURVED_STRIAE = "curved striae"
    CHIP = "chip"
    ABRASION = "abrasion"
    SCRATCH = "scratch"
    OTHER = "other"


class Verdict(StrEnum):
    """What a person decided about a candidate."""

    ACCEPTED = "accepted"
    REJECTED = "rejected"
    #: An earlier decision taken back: to be judged again.
    OPEN = "open"


#: Occasions offered first; any other short text is allowed.
OCCASIONS = ("as received", "before", "after")
