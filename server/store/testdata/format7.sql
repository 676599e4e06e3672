-- A database of format 7, by its own schema (SELECT sql FROM sqlite_master) with two checks in it.
CREATE TABLE checks (
		id        TEXT PRIMARY KEY,
		began     TEXT NOT NULL,
		plan_name TEXT NOT NULL,
		plan_toml BLOB NOT NULL,
		rehearsal TEXT NOT NULL DEFAULT ''
	, after_check TEXT NOT NULL DEFAULT '', mend TEXT NOT NULL DEFAULT '') STRICT;
CREATE TABLE messages (
		check_id TEXT    NOT NULL REFERENCES checks(id),
		source   TEXT    NOT NULL,
		seq      INTEGER NOT NULL,
		lines    TEXT    NOT NULL, -- JSON Lines as received
		received TEXT    NOT NULL,
		PRIMARY KEY (check_id, source, seq)
	) STRICT;
CREATE TABLE thrown_out (
		check_id TEXT NOT NULL REFERENCES checks(id),
		source   TEXT NOT NULL,
		coil     TEXT NOT NULL,
		hold_t   REAL NOT NULL,
		PRIMARY KEY (check_id, source, hold_t)
	) STRICT;
CREATE TABLE verdicts (
		check_id TEXT NOT NULL REFERENCES checks(id),
		reached  TEXT NOT NULL,
		verdict  TEXT NOT NULL
	) STRICT;
CREATE TABLE holds (
		check_id TEXT NOT NULL REFERENCES checks(id),
		source   TEXT NOT NULL,
		coil     TEXT NOT NULL,
		hold_t   REAL NOT NULL,
		samples  INTEGER NOT NULL,
		PRIMARY KEY (check_id, source, hold_t)
	) STRICT;
CREATE TABLE dialects (
		name    TEXT PRIMARY KEY,
		dialect TEXT NOT NULL, -- JSON, of the package feed
		used    INTEGER NOT NULL -- a counter: the highest was kept last
	) STRICT;
CREATE TABLE records (
		check_id  TEXT PRIMARY KEY REFERENCES checks(id),
		signed    TEXT NOT NULL,
		serial    TEXT NOT NULL,
		maker     TEXT NOT NULL,
		note      TEXT NOT NULL,
		exception INTEGER NOT NULL, -- 1: signed with a written exception
		sha256    TEXT NOT NULL,    -- of json
		json      TEXT NOT NULL,
		html      TEXT NOT NULL
	) STRICT;
CREATE TABLE labels ( -- what a person calls a pad before it is signed
		check_id TEXT PRIMARY KEY REFERENCES checks(id),
		serial   TEXT NOT NULL,
		note     TEXT NOT NULL
	) STRICT;
CREATE TABLE imported (
		check_id TEXT PRIMARY KEY REFERENCES checks(id)
	) STRICT;
CREATE TABLE settings (
		name  TEXT PRIMARY KEY,
		value TEXT NOT NULL
	) STRICT;
CREATE INDEX verdicts_of ON verdicts(check_id);
CREATE INDEX records_serial ON records(serial);
CREATE TRIGGER records_stay BEFORE UPDATE ON records BEGIN
		SELECT RAISE(ABORT, 'what is signed stays as it is');
	END;
CREATE TRIGGER records_kept BEFORE DELETE ON records BEGIN
		SELECT RAISE(ABORT, 'what is signed stays as it is');
	END;
CREATE TRIGGER labels_closed BEFORE INSERT ON labels
		WHEN EXISTS (SELECT 1 FROM records WHERE check_id = NEW.check_id) BEGIN
		SELECT RAISE(ABORT, 'the check is signed off');
	END;
CREATE TRIGGER labels_stay BEFORE UPDATE ON labels
		WHEN EXISTS (SELECT 1 FROM records WHERE check_id = NEW.check_id) BEGIN
		SELECT RAISE(ABORT, 'the check is signed off');
	END;
CREATE TRIGGER messages_closed BEFORE INSERT ON messages
		WHEN EXISTS (SELECT 1 FROM records WHERE check_id = NEW.check_id)
		AND NOT EXISTS (SELECT 1 FROM messages WHERE check_id = NEW.check_id AND source = NEW.source AND seq = NEW.seq) BEGIN
		SELECT RAISE(ABORT, 'the check is signed off');
	END;
CREATE TRIGGER thrown_out_closed BEFORE INSERT ON thrown_out
		WHEN EXISTS (SELECT 1 FROM records WHERE check_id = NEW.check_id) BEGIN
		SELECT RAISE(ABORT, 'the check is signed off');
	END;
CREATE TRIGGER verdicts_closed BEFORE INSERT ON verdicts
		WHEN EXISTS (SELECT 1 FROM records WHERE check_id = NEW.check_id) BEGIN
		SELECT RAISE(ABORT, 'the check is signed off');
	END;
CREATE TRIGGER thrown_out_stay BEFORE DELETE ON thrown_out
	WHEN EXISTS (SELECT 1 FROM records WHERE check_id = OLD.check_id) BEGIN
	SELECT RAISE(ABORT, 'the check is signed off');
END;
CREATE TRIGGER records_once BEFORE INSERT ON records
	WHEN EXISTS (SELECT 1 FROM records WHERE check_id = NEW.check_id) BEGIN
	SELECT RAISE(ABORT, 'what is signed stays as it is');
END;
CREATE TRIGGER checks_UPDATE_signed BEFORE UPDATE ON checks
	WHEN EXISTS (SELECT 1 FROM records WHERE check_id = OLD.id) BEGIN
	SELECT RAISE(ABORT, 'the check is signed off');
END;
CREATE TRIGGER checks_DELETE_signed BEFORE DELETE ON checks
	WHEN EXISTS (SELECT 1 FROM records WHERE check_id = OLD.id) BEGIN
	SELECT RAISE(ABORT, 'the check is signed off');
END;
CREATE TRIGGER messages_UPDATE_signed BEFORE UPDATE ON messages
	WHEN EXISTS (SELECT 1 FROM records WHERE check_id = OLD.check_id) BEGIN
	SELECT RAISE(ABORT, 'the check is signed off');
END;
CREATE TRIGGER messages_DELETE_signed BEFORE DELETE ON messages
	WHEN EXISTS (SELECT 1 FROM records WHERE check_id = OLD.check_id) BEGIN
	SELECT RAISE(ABORT, 'the check is signed off');
END;
CREATE TRIGGER verdicts_UPDATE_signed BEFORE UPDATE ON verdicts
	WHEN EXISTS (SELECT 1 FROM records WHERE check_id = OLD.check_id) BEGIN
	SELECT RAISE(ABORT, 'the check is signed off');
END;
CREATE TRIGGER verdicts_DELETE_signed BEFORE DELETE ON verdicts
	WHEN EXISTS (SELECT 1 FROM records WHERE check_id = OLD.check_id) BEGIN
	SELECT RAISE(ABORT, 'the check is signed off');
END;
PRAGMA user_version = 7;
INSERT INTO checks (id, began, plan_name, plan_toml) VALUES ('open', '2026-03-01T10:00:00Z', 'pad', x'61'), ('signed', '2026-03-01T11:00:00Z', 'pad', x'61');
INSERT INTO thrown_out VALUES ('open', 'anna', 'A1', 5), ('open', 'zelda', 'coil:B2', 5), ('signed', 'anna', 'A1', 5);
INSERT INTO holds VALUES ('open', 'anna', 'A1', 5, 20), ('open', 'anna', 'B1', 9, 12), ('signed', 'anna', 'A1', 5, 20);
INSERT INTO verdicts VALUES ('signed', '2026-03-01T11:05:00Z', '{}');
INSERT INTO records VALUES ('signed', '2026-03-01T11:06:00Z', '7', 'AB', '', 0, '00', '{}', '');
