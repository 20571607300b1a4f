"""Published maths of the product: pure functions of arrays and numbers, no files, no network, no clock.

Times are seconds, masses grams, fractions 0..1, temperatures degC and their differences kelvin; a unit is the
last word of a name. Limits that were published in degF are kept in degF, because the printed figure rules.
What a reading is worth is decided upstream: nothing here judges whether a probe may be believed.
"""
