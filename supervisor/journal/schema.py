"""The journal's file: SQLite, its tables, their columns with units, and the way from old to new."""

APPLICATION_ID = 0x48574A31  # in the file's head: a journal of ours
FILE_NAME = "journal.sqlite"

WINDOW_MS, SECOND_MS, MINUTE_MS = 100, 1000, 60_000  # spans of a sample row

# What one version adds to the one before; never changed once released. user_version counts them.
MIGRATIONS = (
    """
    CREATE TABLE settings (
        sha256 TEXT PRIMARY KEY,
        text TEXT NOT NULL  -- JSON
    ) WITHOUT ROWID;
    CREATE TABLE run (
        id INTEGER PRIMARY KEY,
        mono_s REAL NOT NULL,
        wall_s REAL NOT NULL,
        version TEXT NOT NULL,
        bank TEXT NOT NULL,
        is_simulated INTEGER NOT NULL,
        settings TEXT NOT NULL REFERENCES settings
    );
    CREATE TABLE session (
        id INTEGER PRIMARY KEY AUTOINCREMENT,  -- a number is never given twice
        run INTEGER NOT NULL REFERENCES run,
        mono_s REAL NOT NULL,
        wall_s REAL NOT NULL,
        bank TEXT NOT NULL,
        cells INTEGER NOT NULL,
        profile TEXT NOT NULL,
        is_simulated INTEGER NOT NULL,
        settings TEXT NOT NULL REFERENCES settings,
        ended_wall_s REAL,
        is_thinned INTEGER NOT NULL DEFAULT 0  -- its rows of a second were given up for space
    );
    CREATE TABLE sample (
        session INTEGER NOT NULL REFERENCES session,
        span_ms INTEGER NOT NULL,
        run INTEGER NOT NULL REFERENCES run,
        mono_ms INTEGER NOT NULL,  -- end of the span
        wall_ms INTEGER NOT NULL,
        front_v REAL, front_low_v REAL, front_high_v REAL,
        far_v REAL, far_low_v REAL, far_high_v REAL,
        current_a REAL, current_low_a REAL, current_high_a REAL,
        good INTEGER NOT NULL,  -- windows in which all was told
        windows INTEGER NOT NULL,
        PRIMARY KEY (session, span_ms, run, mono_ms)
    ) WITHOUT ROWID;
    CREATE TABLE temperature (
        session INTEGER NOT NULL REFERENCES session,
        run INTEGER NOT NULL REFERENCES run,
        mono_ms INTEGER NOT NULL,
        wall_ms INTEGER NOT NULL,
        probe TEXT NOT NULL,
        celsius REAL,
        PRIMARY KEY (session, run, mono_ms, probe)
    ) WITHOUT ROWID;
    CREATE TABLE progress (
        session INTEGER NOT NULL REFERENCES session,
        run INTEGER NOT NULL REFERENCES run,
        mono_ms INTEGER NOT NULL,
        wall_ms INTEGER NOT NULL,
        circuit TEXT NOT NULL,
        stage TEXT NOT NULL,
        charged_ah REAL, charged_u_ah REAL, charged_wh REAL,  -- u: expanded uncertainty
        is_whole INTEGER NOT NULL,  -- 0: some of the charge could not be counted
        zero_a REAL,  -- of the shunt, before it was closed; taken out of the charge
        at_rest_v REAL, resistance_ohm REAL,
        PRIMARY KEY (session, run, mono_ms)
    ) WITHOUT ROWID;
    CREATE TABLE event (
        id INTEGER PRIMARY KEY,
        session INTEGER REFERENCES session,
        run INTEGER NOT NULL REFERENCES run,
        mono_s REAL NOT NULL,
        wall_s REAL NOT NULL,
        code TEXT NOT NULL,
        text TEXT NOT NULL,
        data TEXT NOT NULL  -- JSON
    );
    CREATE INDEX event_by_session ON event (session);
    """,
    """
    -- Under way when the run ended, or after a restart perhaps to go on; NULL: none.
    ALTER TABLE run ADD COLUMN session INTEGER REFERENCES session;
    -- Of the newest runs, which the next follows: what was written to last, if it has not ended.
    UPDATE run SET session = (
        SELECT CASE WHEN s.ended_wall_s IS NULL THEN s.id END FROM session s
        WHERE s.bank = run.bank AND s.is_simulated = run.is_simulated
        ORDER BY (SELECT max(e.id) FROM event e WHERE e.session = s.id) DESC, s.id DESC LIMIT 1
    ) WHERE id IN (SELECT max(id) FROM run GROUP BY bank, is_simulated);
    """,
    """
    -- What its sessions had counted while closed, as told last; JSON.
    ALTER TABLE run ADD COLUMN counted TEXT;
    """,
)
VERSION = len(MIGRATIONS)
