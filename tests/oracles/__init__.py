"""Second ways to numbers of the package: closed forms and formulas that only checks use."""
