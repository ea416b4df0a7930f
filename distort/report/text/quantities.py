"""What people read where a quantity is meant: at the head of a column, and at the beginning of a sentence."""

from distort.analysis.common.quantities import (
    CHANGE,
    CHANGE_OF_MULTITONE,
    EVEN,
    MULTITONE_DISTORTION,
    ODD,
    RESPONSE,
    RESPONSE_OF_MULTITONE,
    THD,
    Quantity,
)

_ORDINALS = {2: "Second", 3: "Third", 4: "Fourth", 5: "Fifth"}
_WORDS = {
    RESPONSE: ("Response", "Response"),
    RESPONSE_OF_MULTITONE: ("MT resp.", "Response (multitone)"),
    THD: ("THD", "THD"),
    EVEN: ("MT even", "Multitone, even"),
    ODD: ("MT odd", "Multitone, odd"),
    MULTITONE_DISTORTION: ("multi", "Multitone distortion"),
    CHANGE: ("Compr.", "Compression"),
    CHANGE_OF_MULTITONE: ("MT compr.", "Compression (multitone)"),
}


def short(quantity: Quantity) -> str:
    """For a column, nine characters at most: H2, THD, MT even."""
    return _WORDS[quantity][0] if quantity.order is None else f"H{quantity.order}"


def heading(quantity: Quantity) -> str:
    """At the beginning of a sentence: Second order, THD, Multitone, even."""
    if quantity.order is None:
        return _WORDS[quantity][1]
    return f"{_ORDINALS[quantity.order]} order" if quantity.order in _ORDINALS else f"Order {quantity.order}"
