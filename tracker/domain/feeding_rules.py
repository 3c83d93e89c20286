"""The rules of feeding: what is a choice when hay is held against animals. tracker.domain.practice keeps them.

Each row: name, default, UCUM unit, what it decides, source. "Our choice" and "from memory" mean what they say:
docs/feeding.md lists them as doubts.
"""

from __future__ import annotations

FEEDING_RULES: tuple[tuple[str, str, str, str, str], ...] = (
    (
        "feeding_waste",
        "15",
        "%",
        "share of the hay put out that is not eaten, where bales are counted",
        "Selk, hayandforage.com: 6 to 20 %; the middle is our choice",
    ),
    (
        "shortfall_met",
        "2",
        "%",
        "a shortfall of no more than this share of the need counts as met, and is still shown",
        "our choice: below what two laboratories differ by",
    ),
    (
        "supplement_most",
        "1.0",
        "%",
        "most supplement of all kinds a day, dry, of body weight",
        "our choice; Univ. of Georgia: mature cows in condition seldom need more than 0.5",
    ),
    (
        "starch_most",
        "0.25",
        "%",
        "most grain a day beside hay, dry, of body weight",
        "beef-cattle.extension.org, How much corn",
    ),
    (
        "forage_least",
        "0.5",
        "%",
        "least long hay a day, dry, of body weight",
        "Rankins 2000, Auburn Univ.",
    ),
    ("fat_most", "6", "%", "most fat in the dry matter eaten", "from memory"),
    (
        "fat_warn",
        "4",
        "%",
        "fat in the dry matter eaten that is remarked on",
        "Mississippi State Univ., Whole cottonseed use",
    ),
    (
        "sulfur_most",
        "0.40",
        "%",
        "most sulfur in the dry matter eaten, water not counted",
        "Univ. of Arkansas MP391, after NRC 1996; 0.30 on little forage",
    ),
    ("hay_fat", "2.0", "%", "fat of hay that was not analysed for it, dry matter", "common practice"),
    ("hay_sulfur", "0.20", "%", "sulfur of hay that was not analysed for it, dry matter", "common practice"),
    (
        "microbe_protein",
        "7",
        "%",
        "hay with less protein than this starves the rumen's microbes, and less of it is eaten",
        "New Mexico State Univ. CR583; Sprinkle, Univ. of Arizona: intake falls sharply below 6.25",
    ),
    (
        "poor_hay_intake",
        "1.5",
        "%",
        "most of such hay that a dry animal eats a day while protein is short, of body weight",
        "our choice, after Selk, hayandforage.com: 1.5 % below 6 % protein",
    ),
    (
        "protein_first",
        "7",
        "1",
        "TDN over protein above which protein is short before energy is",
        "Moore et al. 1999, J. Anim. Sci.: 66 publications",
    ),
    (
        "degradable_share",
        "65",
        "%",
        "share of the hay's protein that is degraded in the rumen",
        "from memory",
    ),
    (
        "second_feed_saves",
        "0.02",
        "USD",
        "what a second feed has to save a head and day to be worth the work",
        "our choice",
    ),
    (
        "npn_tdn_least",
        "50",
        "%",
        "feeds with urea are left out beside hay of less TDN than this",
        "our choice; Univ. of Nebraska: poor use of urea on forage",
    ),
)
