"""An English sentence for every code that files and values are refused or remarked with. Translated at the edge.

Placeholders are the values that come with the code, and always {field} and {shown} (empty where there is none).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

VALUES: Mapping[str, str] = {
    "EMPTY": "{field} is empty. Fill it in.",
    "NOT_TEXT": "{field}: {shown} is not text or a whole number.",
    "NOT_A_NUMBER": "{field}: {shown} is not a number. Write digits and a point, at most three decimals, as in 16.1.",
    "DECIMAL_COMMA": "{field}: {shown} has a comma. Write a point before the decimals and nothing between thousands.",
    "NEGATIVE": "{field}: {shown} is negative, which cannot be. Check the reading.",
    "TOO_MANY_PLACES": "{field}: {shown} has more than three decimals. Check the unit, or round it as it was read.",
    "NUMBER_TOO_LARGE": "{field}: {shown} has more than six digits before the point. Check the unit.",
    "EXPONENT": "{field}: {shown} is written with an exponent. Write all digits.",
    "UNIT_IN_CELL": "{field}: {shown} carries a unit. Write the number alone, in the unit of the column.",
    "OUT_OF_RANGE": "{field}: {shown} is not between {least} and {most}. Check the unit and the number.",
    "NOT_WHOLE": "{field}: {shown} is not a whole number. Check the unit.",
    "SPREADSHEET_ERROR": "{field}: {shown} is an error left by a spreadsheet. Type the value that belongs there.",
    "SPREADSHEET_NUMBER": "{field}: {shown} was changed into a number by a spreadsheet. Format the column as text.",
    "SPREADSHEET_DATE": "{field}: {shown} was changed into a date by a spreadsheet. Format the column as text.",
    "SPREADSHEET_SERIAL": "{field}: {shown} is a date as a spreadsheet counts days. Write it as 2026-01-31.",
    "DATE_WITHOUT_DASHES": "{field}: {shown} has no dashes. Write the date as 2026-01-31.",
    "DATE_WITH_TIME": "{field}: {shown} has a time. Write the date alone, as 2026-01-31.",
    "DATE_ORDER_UNCLEAR": "{field}: {shown} can be read in two ways. Write year, month, day as 2026-01-31.",
    "NOT_A_DATE": "{field}: {shown} is not a date. Write it as 2026-01-31.",
    "NO_SUCH_DAY": "{field}: there is no day {shown}.",
    "YEAR_OUT_OF_RANGE": "{field}: the year of {shown} is not between {least} and {most}.",
    "NOT_A_MOMENT": "{field}: {shown} is not a moment. Write it as 2026-01-31T05:45:00-05:00.",
    "NO_OFFSET": "{field}: {shown} does not say its offset from UTC. Write it as 2026-01-31T05:45:00-05:00.",
    "NO_SUCH_MOMENT": "{field}: there is no moment {shown}.",
    "NOT_ONE_OF": "{field}: {shown} is not one of {allowed}.",
    "TOO_LONG": "{field} is longer than {longest} characters: {shown}",
    "HIDDEN_CHARACTER": "{field}: {shown} contains {character}, which cannot be seen. Type it again.",
    "NOT_AN_ITEM_NO": "{field}: {shown} cannot be a number of its own. Leave out slashes; dots alone name nothing.",
}
FILES: Mapping[str, str] = {
    "EMPTY_FILE": "The file is empty.",
    "FILE_TOO_LARGE": "The file has {size} bytes; at most {most} are taken here. Split it, or use the command.",
    "TOO_MANY_ROWS": "The file has more than {most} rows. Split it.",
    "NOT_UTF8": "Byte {offset} (line {line}) is not UTF-8. Save the file as CSV UTF-8.",
    "UTF_16": "The file is in UTF-16 (seen at byte {offset}). Save it as CSV UTF-8.",
    "NUL_BYTE": "Byte {offset} is a NUL, which no text has. Save the file as CSV UTF-8.",
    "NO_HEADER": "The file has no header row. Put the names of the columns in the first line.",
    "WRONG_DELIMITER": "The columns are divided by a {found}. Save the file with commas.",
    "UNCLOSED_QUOTE": "A quotation mark opens on line {line} and does not close on it. No field may run over lines.",
    "BROKEN_HEADER": "The header on line {line} cannot be read: text follows a closing quotation mark.",
    "COLUMN_WITHOUT_NAME": "Column {number} of the header has no name. Name it or remove it.",
    "UNKNOWN_COLUMN": "The column {shown} is not known. Remove or rename it. Known are: {known}.",
    "REPEATED_COLUMN": "The column {shown} stands twice in the header.",
    "MISSING_COLUMN": "The column {shown} is missing. It is required.",
    "OLD_WORKBOOK": "This is a workbook of the old kind (XLS). Save it as XLSX or as CSV UTF-8.",
    "NOT_A_WORKBOOK": "The file is not a workbook that can be read. Save it again as XLSX, or as CSV UTF-8.",
    "WORKBOOK_ENCRYPTED": "The workbook is protected by a password. Save it without one.",
    "WORKBOOK_WITH_MACROS": "The workbook contains macros. Save it as plain XLSX.",
    "WORKBOOK_WITH_LINKS": "The workbook is linked to other files. Break the links and save it again.",
    "WORKBOOK_TOO_LARGE": "The workbook unpacks to more than can be taken. Save only the rows, as CSV UTF-8.",
    "SHEET_TOO_WIDE": "Row {line} of the sheet has a cell in column {number}; the book has no such column.",
    "HEADER_NOT_TEXT": "Cell {cell} of the header is not text.",
}
ROWS: Mapping[str, str] = {
    "ROW_LENGTH": "The row has {found} fields, the header {expected}. Look for a missing or extra comma.",
    "BROKEN_QUOTES": "Text follows a closing quotation mark. Double every quotation mark inside a field.",
    "FIELD_TOO_LONG": "{field} has more than {most} characters.",
    "NEWLINE_IN_CELL": "{field}: the cell has more than one line.",
    "FORMULA_CELL": "{field}: cell {cell} holds a formula. Paste the value instead.",
    "BOOLEAN_CELL": "{field}: cell {cell} holds true or false. Write the word that the column asks for.",
    "ERROR_CELL": "{field}: cell {cell} holds an error. Type the value that belongs there.",
    "TIME_CELL": "{field}: cell {cell} holds a time. Write a date or a number.",
    "NUMBER_SHOWN_OTHERWISE": "{field}: cell {cell} shows its number in another form. Format the column as text.",
    "NUMBER_ROUNDED": "{field}: cell {cell} has more digits than a spreadsheet keeps. Format the column as text.",
    "REPEATED_ROW": "The same as line {first}. It adds nothing.",
}
GEAR_BOOK: Mapping[str, str] = {
    "WRONG_FOR_KIND": "{field} does not belong to a {kind}. Leave it empty, or check the kind.",
    "CLASS_OF_KIND": "class: {shown} is not a class of a {kind}. Its classes are {allowed}.",
    "LENGTH_UNIT": "{field}: {shown} is no length of a {kind} in {unit}. Is it in {perhaps}?",
    "VOLTAGE_UNIT": "{field}: {shown} kV cannot be. Is it in volts?",
    "IN_FUTURE": "{field}: {shown} lies after today, {today}.",
    "DATES_OUT_OF_ORDER": "{field}: {shown} lies before {other} {other_day}.",
    "EXPIRY_BEFORE_MADE": "{field}: {shown} is not after made_on {other_day}.",
    "SAME_ITEM_NO": "item_no: {shown} stands on line {first} too, with other content. One number is one piece.",
    "LOOKS_LIKE": "item_no: {shown} can be mistaken for {other} on line {first}. Check both; renumber one of them.",
    "SAME_SERIAL": "serial: {shown} stands on line {first} too, for the same maker and hand. Check the marking.",
    "SET_MIXES_KINDS": "set_no: {shown} has a {other} on line {first} and a {kind} here. A set is of one kind.",
    "HAND_NOT_STATED": "hand is not stated: the mate of this {kind} cannot be checked.",
    "CLASS_NOT_STATED": "class is not stated: this {kind} cannot be answered for until it is.",
    "LENGTH_NOT_STATED": "{field} is not stated: no test of this {kind} can be judged.",
    "CABLE_NOT_STATED": "cable_size is not stated: no test of this jumper can be judged.",
    "LENGTH_IN_FEET": "{field}: {shown} m is long for a jumper. Is it in feet? A wrong length flips a verdict.",
    "NOT_A_PAIR": "set_no: {shown} already has this hand on line {first}. A pair is one left and one right.",
}
TEST_BOOK: Mapping[str, str] = {
    "TESTED_IN_FUTURE": "tested_on: {shown} lies after today, {today}.",
    "UNIT": "{field}: {shown} {unit} cannot be. Is it in {perhaps}?",
    "UNIT_NOTE": "{field}: {shown} {unit} is unusual. Is it in {perhaps}? It is kept as it stands.",
    "ZERO_READING": "{field} is zero: it proves nothing. The test is kept and moves no date.",
    "SAME_TEST": "This test of {item_no} on {tested_on} stands on line {first} too, with other content.",
    "STUCK_METER": "leakage_ma: {count} rows in a row read {shown}. Check the meter.",
}
MESSAGES: Mapping[str, str] = {**VALUES, **FILES, **ROWS, **GEAR_BOOK, **TEST_BOOK}


def english(code: str, **values: Any) -> str:
    """The sentence of a code in English. Raises KeyError for a code without one and for a missing value."""
    return MESSAGES[code].format(**{"field": "", "shown": "", **values})
