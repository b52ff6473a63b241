"""What is handed over on paper: order of work, tally, winds, comparison, and all of it together.

`paper` says what a paper is made of; each builder (`work`, `tally` ...) makes one of facts; `as_text`, `as_csv`,
`as_print` and `as_page` put any of them into a form. A builder knows no form, and a form knows no builder.
"""
