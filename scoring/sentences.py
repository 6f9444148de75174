"""Every sentence that scoring tells a reader, in English, with named places for what changes.

Kept in one place so that whoever shows them can find and translate them; this package itself knows no language.
`gettext_noop` is the mark by which tools that collect texts recognise one.
"""


def gettext_noop(text: str) -> str:
    """Return the text as it is; the name marks it as one to be translated where it is shown."""
    return text


# Why a sample has no score.
NO_ANIMALS = gettext_noop("No animals were recorded.")
NO_SCORING_TAXON = gettext_noop("No scoring taxon was found, so a mean per taxon is not defined.")
NO_NUMBER = gettext_noop("The number of animals was not recorded for: {names}.")
NO_NUMBER_PRESENCE = gettext_noop(
    "The number of animals was not recorded for: {names}. The presence-only values of this method are not held "
    "here."
)
NO_VALUE = gettext_noop("No animal with a tolerance value was recorded, so there is nothing to divide by.")
NOT_RECOGNISED = gettext_noop("No name was recognised, so no order is known.")
ONE_TAXON = gettext_noop("Evenness needs at least two taxa.")

# Why a recording list cannot support an index.
NO_KNOWN_TAXON = gettext_noop("The list has no taxon that the tables know.")
NUMBERS_NEEDED = gettext_noop("Needs numbers of animals, and the list records presence only.")
OTHERS_LEFT_OUT = gettext_noop("Is a share of all animals, and the list leaves out most of the other animals.")
FINER_NAMES = gettext_noop("Needs families or finer names, and most names of the list are wider.")
TWO_TAXA = gettext_noop("Needs at least two taxa on the list.")
LIST_LACKS = gettext_noop("The list lacks: {names}.")
TOO_FEW_TAXA = gettext_noop(
    "The list has {found} of the {scored} taxa that this index scores, fewer than half."
)
TOO_WIDE = gettext_noop("Needs finer names than: {names}.")

# What has to be said beside trigger advice.
ASSUMES = gettext_noop(
    "The chances hold for visits that could change places: equal effort, no trend, no season left in, and each "
    "visit on its own."
)
TOO_FEW_VISITS = gettext_noop(
    "Too few visits to suggest a level: there are {visits}, and a baseline of fewer than {least} is "
    "provisional."
)
WISH_TOO_RARE = gettext_noop(
    "{visits} visits cannot tell a level with only {wanted} false alarms a year: the fewest they can tell is "
    "{rarest}. It takes {needed} visits."
)
ALL_ALIKE = gettext_noop("All scores are alike, so they do not show how far a normal visit may stray.")
BASELINE_MOVES = gettext_noop(
    "The baseline itself is {direction} (seasonal Kendall test, p = {p}), so its chances mislead."
)

# Why there is no trend, comparison or agreement.
NO_SEASON_TWICE = gettext_noop("No season was visited in two years, so nothing can be compared.")
NEVER_DIFFERED = gettext_noop("The scores never differed within a season.")
TOO_FEW_FOR_LIMITS = gettext_noop("Too few visits for limits of the wanted confidence.")
NOT_COMPARABLE = gettext_noop("A number of animals is missing, so the two counts cannot be compared.")

# Words that stand in a sentence.
RISING = gettext_noop("rising")
FALLING = gettext_noop("falling")

SENTENCES = tuple(text for name, text in list(globals().items()) if name.isupper())
