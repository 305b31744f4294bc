-- A logbook as version 2 of its schema has it.
CREATE TABLE attempt (
         number INTEGER PRIMARY KEY AUTOINCREMENT,
         id TEXT NOT NULL UNIQUE,
         begun TEXT NOT NULL,
         system TEXT NOT NULL,
         recipe TEXT NOT NULL
     );
INSERT INTO "attempt" VALUES(1,'1af6f7609202278eb72f7e3edc7fb7f3','2026-11-28T04:10:11Z','bench','{"program":"0.1.0","system":"bench","system_hash":"12e4b787019338e49a10ba90a7aa05d8","drill":"first-steps","read_needles":false,"help":"best-step","seed":3}');
CREATE TABLE grade (
         number INTEGER PRIMARY KEY AUTOINCREMENT,
         card TEXT NOT NULL,
         at TEXT NOT NULL,
         day INTEGER NOT NULL,
         rating INTEGER NOT NULL CHECK (rating BETWEEN 1 AND 4)
     );
INSERT INTO "grade" VALUES(1,'bench cause W1','2026-11-28T04:10:12Z',20785,1);
INSERT INTO "grade" VALUES(2,'bench cause CB1','2026-11-28T04:10:12Z',20785,3);
CREATE TABLE move (
         attempt INTEGER NOT NULL REFERENCES attempt (number),
         number INTEGER NOT NULL,
         at TEXT NOT NULL,
         line TEXT NOT NULL,
         shown TEXT NOT NULL,
         seal TEXT NOT NULL,
         PRIMARY KEY (attempt, number)
     ) WITHOUT ROWID;
INSERT INTO "move" VALUES(1,1,'2026-11-28T04:10:11Z','set S1 ON','["LAMP: in","POWER: dark"]','4da843b429e48bc1894fe8cead3f7552');
INSERT INTO "move" VALUES(1,2,'2026-11-28T04:10:12Z','dc TB1-2','["DC volts TB1-2 to GND: 27.6 V DC"]','267e624fc91828f956eb8c4aba9ed019');
INSERT INTO "move" VALUES(1,3,'2026-11-28T04:10:12Z','dc TB1-3','["DC volts TB1-3 to GND: 0.0 V DC"]','f53a1c378d69947db6699c5142313016');
CREATE TABLE setting (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE INDEX grade_by_card ON grade (card, number);
PRAGMA user_version = 2;
