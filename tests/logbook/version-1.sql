-- A logbook as version 1 of its schema has it.
CREATE TABLE attempt (
         number INTEGER PRIMARY KEY AUTOINCREMENT,
         id TEXT NOT NULL UNIQUE,
         begun TEXT NOT NULL,
         system TEXT NOT NULL,
         recipe TEXT NOT NULL
     );
INSERT INTO "attempt" VALUES(1,'aa1790698fd82d34ba10ab06c022966e','2026-11-26T12:13:10Z','bench','{"program":"0.1.0","system":"bench","system_hash":"12e4b787019338e49a10ba90a7aa05d8","drill":"first-steps","read_needles":false,"help":"best-step","seed":190691}');
CREATE TABLE move (
         attempt INTEGER NOT NULL REFERENCES attempt (number),
         number INTEGER NOT NULL,
         at TEXT NOT NULL,
         line TEXT NOT NULL,
         shown TEXT NOT NULL,
         seal TEXT NOT NULL,
         PRIMARY KEY (attempt, number)
     ) WITHOUT ROWID;
INSERT INTO "move" VALUES(1,1,'2026-11-26T12:13:10Z','set S1 ON','["LAMP: in","POWER: dark"]','cdd1bc876069d8b3b6aa531721a54fa7');
INSERT INTO "move" VALUES(1,2,'2026-11-26T12:13:10Z','dc TB1-3','["DC volts TB1-3 to GND: 0.0 V DC"]','84fb42c8b8a18df8d0ef699a0dbeeb80');
INSERT INTO "move" VALUES(1,3,'2026-11-26T12:13:10Z','call S1:open-ON','[]','d326299aac50e68b17c82014e4771f55');
CREATE TABLE setting (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
INSERT INTO "setting" VALUES('trainee','12');
PRAGMA user_version = 1;
