from fiftyover.process import lethality, trichinae
from references.process.reading import rows

UNIT_H = {"h": 1.0, "days": 24.0}


def hours(printed):
    value, unit = printed.split()
    return float(value) * UNIT_H[unit]


def test_heating_table_is_the_published_one():
    assert [(row.degF, row.least_s) for row in trichinae.HEATING] == [
        (int(row["degF"]), int(row["least_s"])) for row in rows("trichinae_heating.csv")
    ]


def test_freezing_table_is_the_published_one():
    assert [(row.table, row.degF, row.least_h) for row in trichinae.FREEZING] == [
        (row["set"], int(row["degF"]), hours(row["time_printed"])) for row in rows("trichinae_freezing.csv")
    ]


def test_every_lethality_row_is_stronger_than_the_heating_table():
    table = {row.degF: row.least_s for row in trichinae.HEATING}
    for row in lethality.ROWS:
        if row.degF in table:
            assert row.for_5_s >= table[row.degF]
        elif row.degF > 144:  # instant from there on
            assert row.for_5_s >= 0
            assert table[144] == 0
    assert table[130] == 1800  # 30 min against 112 min
