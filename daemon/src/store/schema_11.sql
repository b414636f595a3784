-- A device may say of a value that it is wrong: quality 3, or 4 where there is no number. A table's CHECK
-- cannot be altered, and copying the table would take long in a big file, so its text is exchanged, in the
-- way that SQLite describes for constraints (https://www.sqlite.org/lang_altertable.html, 7).
PRAGMA writable_schema = ON;
UPDATE sqlite_schema
SET sql = replace(
    replace(sql, 'CHECK (quality IN (0, 1, 2))', 'CHECK (quality IN (0, 1, 2, 3, 4))'),
    'CHECK ((quality = 2) = (value IS NULL))', 'CHECK ((quality IN (2, 4)) = (value IS NULL))')
WHERE type = 'table' AND name = 'reading';
PRAGMA writable_schema = RESET;
-- What stands there now is looked at, so that a table with another text is an error and not left as it was. Others who
-- have the file open read its tables again after a change of this kind.
CREATE TABLE exchanged (
    tables INTEGER NOT NULL CONSTRAINT the_table_reading_has_an_unknown_text CHECK (tables = 1)
) STRICT;
INSERT INTO exchanged
SELECT count(*) FROM sqlite_schema
WHERE type = 'table' AND name = 'reading'
    AND instr(sql, 'CHECK (quality IN (0, 1, 2, 3, 4))') > 0
    AND instr(sql, 'CHECK ((quality IN (2, 4)) = (value IS NULL))') > 0;
DROP TABLE exchanged;
