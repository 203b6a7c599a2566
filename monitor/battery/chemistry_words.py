"""What people call the chemistries, and which one is most likely meant: asked back, never taken silently."""

#: word on a label or in a mouth -> (our name, what it is, for the question back)
MEANT: dict[str, tuple[str, str]] = {
    **dict.fromkeys(("lifepo4", "lifepo", "life", "lfp4", "phosphate"), ("lfp", "lithium iron phosphate")),
    **dict.fromkeys(("lithium", "li", "lion", "liion", "li-ion", "ion"),
                    ("lfp", "lithium iron phosphate, LiFePO4 on its label; another lithium chemistry is not known here")),
    **dict.fromkeys(("wet", "lead", "acid", "lead-acid", "leadacid", "calcium", "efb", "liquid", "standard", "normal"),
                    ("flooded", "lead-acid with liquid acid, with caps or closed")),
    **dict.fromkeys(("vrla", "sealed", "sla", "fleece", "glass-mat", "glass", "mat", "absorbed"),
                    ("agm", "lead-acid with its acid in a glass mat")),
    **dict.fromkeys(("gell", "gelled", "jelly"), ("gel", "lead-acid with its acid as a gel")),
}


def find_meant(words: list[str]) -> tuple[str, str] | None:
    """The chemistry that some words most likely mean and what it is, or None where they mean none, or more than one.

    >>> find_meant(["lithium", "100"])[0]
    'lfp'
    """
    found = {MEANT[word] for word in words if word in MEANT}
    kinds = {kind for kind, _ in found}
    if len(kinds) != 1:
        return None
    return max(found, key=lambda item: len(item[1]))
