"""The words of scoring's tables, for tools that collect texts to be translated.

Written by `surveys.told.catalogue_source` and held to the tables by a test: change the tables, not this file.
"""

from django.utils.translation import gettext_noop

TEXTS = (
    gettext_noop("BMWP"),
    gettext_noop("Biological Monitoring Working Party score"),
    gettext_noop("Sum of the scores of all scoring taxa present; joined families score once."),
    gettext_noop(
        "Biological Monitoring Working Party 1980; Hawkes 1998, Water Research 32(3): 964-968; tables/bmwp.csv "
        "names the source and status of each row"
    ),
    gettext_noop(
        "Table from a single source: 22 of 85 rows verified by two, 5 from memory (Baetidae, Piscicolidae, "
        "Psychomyiidae, Philopotamidae, Dendrocoelidae), and which families are joined is from memory."
    ),
    gettext_noop("family"),
    gettext_noop("Organic pollution and lack of oxygen"),
    gettext_noop(
        "Counts presence only, so it grows with effort: compare visits of equal effort, one mesh and one "
        "season."
    ),
    gettext_noop("points"),
    gettext_noop("better"),
    gettext_noop("Scoring taxa"),
    gettext_noop("Number of BMWP scoring taxa"),
    gettext_noop("Number of scoring taxa present; joined families count once."),
    gettext_noop("Organic pollution and lack of oxygen, habitat, and toxic pollution"),
    gettext_noop("taxa"),
    gettext_noop("ASPT"),
    gettext_noop("Average score per taxon"),
    gettext_noop("BMWP score divided by the number of scoring taxa."),
    gettext_noop("Not defined without a scoring taxon; jumps about when only a few taxa are found."),
    gettext_noop("points per taxon"),
    gettext_noop("WHPT"),
    gettext_noop("Whalley, Hawkes, Paisley and Trigg score, weighted by abundance"),
    gettext_noop("Sum of the values of all scoring taxa, each value chosen by the range its animals fall in."),
    gettext_noop(
        "WFD-UKTAG 2014, River Assessment Method, Benthic Invertebrate Fauna: WHPT metric; Paisley, Trigg and "
        "Walley 2014, River Research and Applications 30: 887-904"
    ),
    gettext_noop("All values from memory: hold them against the publication before you rely on them."),
    gettext_noop("Organic pollution and lack of oxygen, and other stress to a lesser degree"),
    gettext_noop(
        "Values can be negative where tolerant animals are dense. Needs numbers or ranges: the presence-only "
        "values are not held, so a taxon without a number leaves it undefined. Adding a family can lower the "
        "total."
    ),
    gettext_noop("WHPT taxa"),
    gettext_noop("Number of WHPT scoring taxa"),
    gettext_noop("Number of scoring taxa present; families that BMWP joins count apart."),
    gettext_noop(
        "Counts presence only, so it grows with effort: compare visits of equal effort, one mesh and one "
        "season. Whether Ecnomidae count with Psychomyiidae is not settled; they are left out."
    ),
    gettext_noop("WHPT mean"),
    gettext_noop("WHPT average score per taxon"),
    gettext_noop("WHPT total divided by the number of its scoring taxa."),
    gettext_noop(
        "Values can be negative where tolerant animals are dense. Needs numbers or ranges: the presence-only "
        "values are not held, so a taxon without a number leaves it undefined."
    ),
    gettext_noop("Family biotic index"),
    gettext_noop("Hilsenhoff family biotic index"),
    gettext_noop("Sum of (animals x tolerance) / sum of animals, over animals that have a tolerance value."),
    gettext_noop(
        "Hilsenhoff 1988, J. N. Am. Benthol. Soc. 7(1): 65-68; each value compared with EPA 841-B-99-002, "
        "Appendix B"
    ),
    gettext_noop(
        "Values from a single source (2 of 70 rows verified by two, 3 from memory); class limits from a single "
        "source, the last from memory; families split off since 1988 from memory."
    ),
    gettext_noop(
        "Made for North American streams. Arthropods only: worms, leeches, snails and mussels never count. The "
        "class is read from the value at two decimals, rounded half up."
    ),
    gettext_noop("0 to 10"),
    gettext_noop("worse"),
    gettext_noop("EPT families"),
    gettext_noop("Families of mayflies, stoneflies and caddisflies"),
    gettext_noop("Number of distinct families of Ephemeroptera, Plecoptera and Trichoptera, as recorded."),
    gettext_noop("U.S. EPA 1999, Rapid Bioassessment Protocols, 2nd edition, EPA 841-B-99-002, Table 7-1"),
    gettext_noop("Definition seen in the source."),
    gettext_noop("Most kinds of pollution, fine sediment and warm water"),
    gettext_noop(
        "Counts presence only, so it grows with effort: compare visits of equal effort, one mesh and one "
        "season. Animals named to order only are left out."
    ),
    gettext_noop("families"),
    gettext_noop("EPT animals"),
    gettext_noop("Share of mayflies, stoneflies and caddisflies among all animals"),
    gettext_noop(
        "100 x EPT animals / all animals with a known name. Not the share of taxa, which has a like name."
    ),
    gettext_noop("order"),
    gettext_noop(
        "Needs numbers; one hatch of small mayflies can lift it. Animals with an unknown name are left out."
    ),
    gettext_noop("%"),
    gettext_noop("Richness"),
    gettext_noop("Number of taxa as recorded"),
    gettext_noop("Number of distinct recorded names."),
    gettext_noop("Magurran 2004, Measuring Biological Diversity"),
    gettext_noop("Formula checked against published worked examples."),
    gettext_noop("as recorded"),
    gettext_noop("Any change that takes taxa away"),
    gettext_noop("Depends on how finely names were given and on effort."),
    gettext_noop("Shannon"),
    gettext_noop("Shannon diversity (natural logarithm)"),
    gettext_noop("H' = -sum of p ln p over all taxa as recorded, p being a taxon's share of the animals."),
    gettext_noop("Loss of taxa and dominance of a few"),
    gettext_noop(
        "Depends on how finely names were given and on effort; a clean but poor headwater can have a low "
        "value. A range is taken at 3, 33, 333 or 3333 (Environment Agency convention, from memory)."
    ),
    gettext_noop("nats"),
    gettext_noop("Simpson"),
    gettext_noop("Simpson diversity (complement form)"),
    gettext_noop("1 - sum of p squared over all taxa as recorded, p being a taxon's share of the animals."),
    gettext_noop("Dominance of a few taxa"),
    gettext_noop("0 to 1"),
    gettext_noop("Evenness"),
    gettext_noop("Pielou evenness"),
    gettext_noop("H' / ln S, S being the number of taxa as recorded."),
    gettext_noop(
        "Not defined for one taxon. Depends on how finely names were given and on effort; a clean but poor "
        "headwater can have a low value. A range is taken at 3, 33, 333 or 3333 (Environment Agency "
        "convention, from memory)."
    ),
    gettext_noop("Volunteer stream rating"),
    gettext_noop("Stream rating of the EPA volunteer monitoring manual"),
    gettext_noop(
        "Kinds of animal are counted by sensitivity group and abundance (1-9, 10-99, 100 and more); each is "
        "worth the weight of its group and abundance."
    ),
    gettext_noop("U.S. EPA 1997, Volunteer Stream Monitoring: A Methods Manual, EPA 841-B-97-003, section 4.2"),
    gettext_noop(
        "Weights, bands and groups from memory: hold them against the manual before you rely on them."
    ),
    gettext_noop("group"),
    gettext_noop("Organic pollution, sediment and loss of habitat"),
    gettext_noop(
        "Made for North American streams. Beetles count only where adults and larvae were told apart. More "
        "than 99 animals of a kind weigh less than 10 to 99."
    ),
    gettext_noop("Bankside score"),
    gettext_noop("Bankside score of six broad groups (not a published index)"),
    gettext_noop(
        "Sum over the six groups of weight x log10(1 + animals). Weight: the mean BMWP score of the group's "
        "families less 5.5, the middle of the BMWP scale of 1 to 10. Stonefly nymphs 4.071, mayfly nymphs "
        "3.375, caddis larvae 3.125, leeches -2.25, non-biting midge larvae -3.5, freshwater worms -4.5. None "
        "of the groups found: 0."
    ),
    gettext_noop(
        "Not a published index: the formula is this project's own. Weights are computed from tables/bmwp.csv "
        "(Biological Monitoring Working Party 1980); the choice of groups is common practice, no source"
    ),
    gettext_noop(
        "Own formula, not held against biological data of other places; the BMWP scores behind the weights are "
        "from a single source, 5 of them from memory (among these Baetidae, Psychomyiidae, Philopotamidae and "
        "Piscicolidae)."
    ),
    gettext_noop("Organic pollution and lack of oxygen; loss of animals of any cause brings it towards 0"),
    gettext_noop(
        "Compare only with the same site's own visits, of equal effort and season. Negative where tolerant "
        "animals prevail. A clean stream with natural silt can score low. An open range such as 1,000+ is "
        "taken to end at 9,999 for its highest value."
    ),
    gettext_noop("excellent"),
    gettext_noop("organic pollution unlikely"),
    gettext_noop("very good"),
    gettext_noop("slight organic pollution possible"),
    gettext_noop("good"),
    gettext_noop("some organic pollution probable"),
    gettext_noop("fair"),
    gettext_noop("fairly substantial pollution likely"),
    gettext_noop("fairly poor"),
    gettext_noop("substantial pollution likely"),
    gettext_noop("poor"),
    gettext_noop("very substantial pollution likely"),
    gettext_noop("very poor"),
    gettext_noop("severe organic pollution likely"),
    gettext_noop("stonefly nymphs"),
    gettext_noop("mayfly nymphs"),
    gettext_noop("caddis larvae"),
    gettext_noop("freshwater worms"),
    gettext_noop("leeches"),
    gettext_noop("non-biting midge larvae"),
    gettext_noop("of the shares of taxa in two counts"),
    gettext_noop("a national audit of 2020 (Sci Total Environ 703: 135496) acted above 14"),
    gettext_noop("the national audit of 2020 acted below 95"),
    gettext_noop("for an index of two samples; the source gives 15 to 20"),
    gettext_noop("common practice, no source"),
    gettext_noop("no source"),
    gettext_noop("Stribling, Moulton and Lester 2003, J. N. Am. Benthol. Soc. 22(4): 621-631"),
    gettext_noop("from memory"),
    gettext_noop("U.S. EPA 1999, Rapid Bioassessment Protocols, 2nd edition, EPA 841-B-99-002"),
    gettext_noop("Stribling, Jessup and Feldman 2008, J. N. Am. Benthol. Soc. 27: 58-67"),
    gettext_noop("abstract only"),
)
