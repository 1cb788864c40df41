"""A second route to every figure of VAT, purchase and sale, which uses nothing of the program.

Written from the rules alone, in fractions, so that tests can hold the program against it. Amounts are euros, rates
that a person types are percent, ratios are fractions of one. Articles are of Directive 2006/112/EC; "from memory"
says that the article's wording was not read.
"""
