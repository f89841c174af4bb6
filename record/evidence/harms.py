"""What must not be done to a stone that may be one of some materials, or filled."""

import re
from collections.abc import Iterable

from setstone.record.evidence.materials import Material

#: What harms a material, by its name in the table, in the words of a caution.
_HARMS = {
    "ultrasonic": "ultrasonics",
    "steam": "steam",
    "heat": "heat",
    "acid": "acid",
    "solvents": "solvents",
    "contact liquid": "contact liquid",
    "density": "soaking in water",
}
#: Said of a stone whose fissures may be filled, whatever it is.
FILLED = "No heat, steam, ultrasonics, acid or solvents: fissures may be filled."


def not_to_do(possible: Iterable[Material]) -> tuple[str, ...]:
    """Say which treatments harm materials a stone may be.

    Parameters
    ----------
    possible : iterable of Material

    Returns
    -------
    tuple of str
        A sentence for each group of materials that the same things harm, from the table of materials.
    """
    harms: dict[str, list[str]] = {}
    for material in possible:
        for harm in _HARMS:
            if harm in material.avoid:
                harms.setdefault(harm, []).append(material.name)
    by_names: dict[tuple[str, ...], list[str]] = {}
    for harm, names in harms.items():
        by_names.setdefault(tuple(names), []).append(_HARMS[harm])
    return tuple(f"No {_listed(harm)}: it may be {'; '.join(names)}." for names, harm in by_names.items())


def claimed_filled(claim: str) -> bool:
    """Whether a claim speaks of fillings.

    Examples
    --------
    >>> claimed_filled("Ruby, glass-filled"), claimed_filled("Emerald, minor oil")
    (True, True)
    >>> claimed_filled("Ruby, foiled")
    False
    """
    return re.search(r"(?<!un)filled|\b(?:filling|oil|resin)", claim.casefold()) is not None


def _listed(words: list[str]) -> str:
    return " or ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else words[0]
