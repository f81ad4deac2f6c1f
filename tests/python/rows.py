"""Rows of many logs as an SQL engine reads them: the Parquet file, the CSV file, JSON lines."""

import duckdb
from exchange import answer, asked

q = asked()
db = duckdb.connect()
readers = {"parquet": "read_parquet", "csv": "read_csv", "jsonl": "read_json"}
out = {}
for ending, reader in readers.items():
    db.execute(f"CREATE TABLE {ending} AS SELECT * FROM {reader}(?)", [q[ending]])
    names = [row[0] for row in db.execute(f"DESCRIBE {ending}").fetchall()]
    out[ending + "_columns_as_asked"] = [float(names == q["columns"])]
    for column in q["numbers"]:
        found = db.execute(f'SELECT "{column}" FROM {ending} ORDER BY log').fetchall()
        out[f"{ending}_{column}"] = [float("nan") if v is None else float(v) for (v,) in found]
    texts = db.execute(f"SELECT log, verdict, error FROM {ending} ORDER BY log").fetchall()
    want = [tuple(row) for row in q["texts"]]
    out[ending + "_texts_as_asked"] = [float(texts == want)]
worst = db.execute(
    "SELECT count(*) FROM parquet WHERE verdict = 'out_of_tolerance' AND low_kpa > tolerance_kpa"
).fetchone()
out["high_on_side_1"] = [float(worst[0])]
answer(**out)
