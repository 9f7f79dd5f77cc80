"""How large a file may be. Every number is chosen so that no file costs more than 2 s and 100 MB."""

from typing import Final

FILE_BYTES: Final = 2_000_000
UNZIPPED_BYTES: Final = 15_000_000
ROWS: Final = 5_000
# Empty lines between rows count here.
LINES: Final = 20_000
# Twelve exercises of eleven columns each beside thirty for the person.
COLUMNS: Final = 200
CELLS: Final = 100_000
CELL_CHARACTERS: Final = 2_000
SHEETS: Final = 30
ZIP_MEMBERS: Final = 200
# Elements in the parts of a workbook, counted before any is parsed: sheets, shared texts, and all else (styles).
SHEET_TAGS: Final = 320_000
TEXT_TAGS: Final = 240_000
OTHER_TAGS: Final = 20_000

CALENDAR_BYTES: Final = 1_000_000
EVENTS: Final = 4_000
EVENT_LINES: Final = 60_000
EVENT_LINE_CHARACTERS: Final = 10_000
RULE_CHARACTERS: Final = 500
CALENDAR_NESTING: Final = 5
EXTRA_TIMES: Final = 100
TIMES_LEFT_OUT: Final = 1_000
YEARS_AROUND_TODAY: Final = 10
WINDOW_DAYS: Final = 400
