"""What a laboratory's codes mean to a producer: a plain name, and in one short sentence what it tells."""

from __future__ import annotations

from collections.abc import Mapping

# Common practice in extension leaflets; the sentences are ours. Code -> plain name, what it tells.
MEANINGS: Mapping[str, tuple[str, str]] = {
    "total DM": ("Dry matter", "What is left when all water is gone."),
    "CP": ("Protein (CP)", "It builds milk and muscle. The rumen needs it too."),
    "ACP": ("Usable protein", "Protein, less the part that heat has bound."),
    "ADF": ("Tough fiber (ADF)", "The more of it, the less energy."),
    "NDF": ("All fiber (NDF)", "The more of it, the less hay they eat."),
    "ADL": ("Lignin", "Wood in the stems. It cannot be used."),
    "ash": ("Ash", "Minerals, and soil if it is high."),
    "EE": ("Fat", "Gives energy. Hay has little."),
    "NDFD48": ("Fiber that is used", "The more of it, the better the fiber feeds."),
    "TDN": ("Energy (TDN)", "The part of the hay that feeds the animal."),
    "RFV": ("Feed value (RFV)", "Ranks hays against each other."),
    "RFQ": ("Feed quality (RFQ)", "Ranks hays, and counts how well fiber is used."),
    "NEm": ("Energy to live on", "What keeps an animal as it is."),
    "NEg": ("Energy to gain on", "What is left for gain."),
    "NEl": ("Energy for milk", "What is left for milk."),
    "NO3": ("Nitrate", "Too much of it can kill cattle."),
    "NO3-N": ("Nitrate, as nitrogen", "Too much of it can kill cattle."),
    "KNO3": ("Nitrate, as a salt", "Too much of it can kill cattle."),
    "Ca": ("Calcium", "For bone and milk."),
    "P": ("Phosphorus", "For bone and growth."),
    "K": ("Potassium", "High in well fed fields."),
    "Mg": ("Magnesium", "Low in spring grass."),
    "S": ("Sulfur", "Count it with that of by-products and water."),
    "pH": ("Acidity (pH)", "For wrapped hay: low keeps well."),
    "WSC": ("Sugars", "Horses that founder need little."),
    "ESC": ("Simple sugars", "Horses that founder need little."),
    "starch": ("Starch", "High where grain has formed heads."),
}
# What a producer reads first, in this order; the others follow as the report has them.
FIRST = ("total DM", "CP", "TDN", "NDF", "ADF", "NO3", "NO3-N", "KNO3", "RFV", "RFQ")


def meaning(code: str, name: str) -> tuple[str, str]:
    """The plain name of a code, and what it tells; the report's own name, and nothing, for one that has none here."""
    known = MEANINGS.get(code)
    return known if known is not None else (name[:1].upper() + name[1:], "")
