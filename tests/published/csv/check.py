"""Reads CSV with Python's csv module beside our reader: check.py PROGRAM PAGE. What we write must hold the
numbers it was written from; the examples on the page must give both readers the same."""
import csv
import io
import json
import re
import subprocess
import sys
import unittest

PAGE = sys.argv.pop()
PROGRAM = sys.argv.pop()
HEADING = re.compile(r"(\S+ \[\S+\])(?: @ (\S+) Hz)?(?: from (\S+) s)?(?: for (\S+) samples)?$")


def run(*words, text=""):
    answer = subprocess.run([PROGRAM, *words], check=True, capture_output=True, input=text.encode())
    return json.loads(answer.stdout)


class Table:
    """A table read by rules written down a second time; numbers with a decimal comma where semicolons are."""

    def __init__(self, text):
        separator = ";" if text.startswith("time_s;") else ","
        self.mark = "," if separator == ";" else "."
        self.header, *self.rows = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)

    def number(self, cell):
        return float(cell.replace(self.mark, "."))

    def column(self, place, rate_hz, start_s, count, rounded_s):
        """The cells of a column's grid, whose times may be off by as much."""
        values = []
        for row in self.rows:
            due = len(values) < count and abs(self.number(row[0]) - (start_s + len(values) / rate_hz)) <= rounded_s
            if due:
                values.append(self.number(row[place]) if row[place] else None)
            elif row[place]:
                raise ValueError(f"a value beside the grid: {row}")
        return values

    def is_named(self, place):
        return " @ " in self.header[place]


class Csv(unittest.TestCase):
    def compare(self, text, ours, rounded_s):
        table = Table(text)
        self.assertEqual(table.header[0], "time_s")
        self.assertTrue(all(len(row) == len(table.header) for row in table.rows))
        self.assertGreater(len(ours["channels"]), 0)
        self.assertEqual(len(table.header), 1 + len(ours["channels"]) + (table.header[-1] == "events"))
        for place, channel in enumerate(ours["channels"], 1):
            name, rate, start, count = HEADING.match(table.header[place]).groups()
            self.assertEqual(name, channel["heading"])
            for said, meant in (rate, channel["rate_hz"]), (start, channel["start_s"]):
                if said is not None:
                    self.assertEqual(table.number(said), meant)
            values = table.column(place, channel["rate_hz"], channel["start_s"], int(count or 10**9), rounded_s)
            self.assertGreater(len(values), 0)
            self.assertEqual(values, channel["samples"])
        return table

    def test_what_we_write(self):
        plain = 0
        for seed in range(24):
            ours = run("write", str(seed))
            table = self.compare(ours["csv"], ours, 1e-9)
            plain += not table.is_named(1)
            marked = [(table.number(row[0]), row[-1]) for row in table.rows if row[-1]]
            self.assertEqual(marked, [(2.5, "cough"),
                                      (3.21987, 'comment: says "full", then\nwaits | balloon [40.25]')])
            self.assertEqual(run("read", text=ours["csv"]), {key: ours[key] for key in ("channels", "events")})
        self.assertGreater(plain, 5)
        self.assertLess(plain, 20)

    def test_examples_of_the_page(self):
        with open(PAGE, encoding="utf-8") as page:
            examples = re.findall(r"```csv\n(.*?)```", page.read(), re.DOTALL)
        self.assertGreaterEqual(len(examples), 4)
        for example in examples:
            self.compare(example, run("read", text=example), 0.0005)


if __name__ == "__main__":
    unittest.main()
