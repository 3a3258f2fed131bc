"""The evening: several films, one or two vessels, one pair of hands (contract, section 11)."""
