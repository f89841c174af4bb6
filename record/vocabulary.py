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


class Fact(StrEnum):
    """What a description says of an object or of how a stone sits in it, and nobody here has tested."""

    METAL = "metal"
    FINENESS = "fineness"
    HALLMARK = "hallmark"
    DATE = "date"
    MAKER = "maker"
    SETTING = "setting"
    BACK = "back"

    @property
    def known_how(self) -> str:
        """How it came to be known: the words that stand beside it wherever it is shown."""
        if self in (Fact.SETTING, Fact.BACK):
            return "as seen"
        return "as claimed" if self in (Fact.DATE, Fact.MAKER) else "as read"

    @property
    def of_stone(self) -> bool:
        """Whether it belongs to a stone, not to the object as a whole."""
        return self in (Fact.SETTING, Fact.BACK)


#: Offered first for a setting and a back; any other text is allowed (common practice, no source).
SETTINGS = ("claws", "collet", "closed collet", "grains", "channel", "pavé", "glued in")
BACKS = ("open", "closed", "closed, foil seen at the edge")

#: Stands beside such facts wherever they are shown.
FACTS_CAUTION = (
    "Marks are given as read and other statements as claimed: setstone tests no metal, and a mark can be worn, "
    "misread, moved or false. An assay office or a licensed laboratory tests metal."
)


class WorkKind(StrEnum):
    """What was done to a stone at the bench."""

    UNSET = "unset"
    CLEANED = "cleaned"
    GLUE_REMOVED = "glue removed"
    SET = "set again"
    OTHER = "other"


#: Occasions offered first; any other short text is allowed.
OCCASIONS = ("as received", "before", "after")
