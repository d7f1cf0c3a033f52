-- The tables of journals from before the first release (schema 3).
CREATE TABLE analysed_with (
    id INTEGER PRIMARY KEY,
    version TEXT NOT NULL,
    settings_json TEXT NOT NULL,
    UNIQUE (version, settings_json)
);
CREATE TABLE readings (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    uid TEXT NOT NULL UNIQUE,
    local_date TEXT NOT NULL,
    began TEXT NOT NULL,
    duration_s REAL NOT NULL,
    posture TEXT NOT NULL CHECK (posture IN ('lying', 'sitting', 'standing')),
    camera TEXT NOT NULL,
    frame_rate_hz REAL,
    channel TEXT,
    mean_hr_bpm REAL, mean_hr_bpm_low REAL, mean_hr_bpm_high REAL,
    mean_nn_ms REAL,
    sdnn_ms REAL, sdnn_ms_low REAL, sdnn_ms_high REAL,
    rmssd_ms REAL, rmssd_ms_low REAL, rmssd_ms_high REAL,
    ln_rmssd REAL, ln_rmssd_low REAL, ln_rmssd_high REAL,
    sdsd_ms REAL,
    nn50 INTEGER,
    pnn50_pct REAL,
    cv_nn_pct REAL,
    min_nn_ms REAL,
    max_nn_ms REAL,
    sd1_ms REAL,
    sd2_ms REAL,
    kept_beats INTEGER NOT NULL,
    kept_share REAL,
    timing_error_ms REAL,
    usable INTEGER NOT NULL CHECK (usable IN (0, 1)),
    reasons_json TEXT NOT NULL,
    recording TEXT,
    picked INTEGER NOT NULL DEFAULT 0 CHECK (picked IN (0, 1)),
    saved_at TEXT NOT NULL,
    binned_at TEXT,
    analysed_with INTEGER NOT NULL REFERENCES analysed_with (id)
);
CREATE INDEX readings_by_date ON readings (local_date, id);
CREATE TABLE intervals (
    reading_id INTEGER NOT NULL REFERENCES readings (id) ON DELETE CASCADE,
    position INTEGER NOT NULL,
    start_s REAL NOT NULL,
    interval_ms REAL NOT NULL,
    kept INTEGER NOT NULL,
    reason TEXT,
    PRIMARY KEY (reading_id, position),
    CHECK (kept = (reason IS NULL))
) WITHOUT ROWID;
CREATE TABLE context (
    reading_id INTEGER PRIMARY KEY REFERENCES readings (id) ON DELETE CASCADE,
    sleep INTEGER CHECK (sleep BETWEEN 1 AND 7),
    stress INTEGER CHECK (stress BETWEEN 1 AND 7),
    fatigue INTEGER CHECK (fatigue BETWEEN 1 AND 7),
    soreness INTEGER CHECK (soreness BETWEEN 1 AND 7),
    hours_slept REAL CHECK (hours_slept BETWEEN 0 AND 24),
    ill INTEGER CHECK (ill IN (0, 1)),
    alcohol INTEGER CHECK (alcohol IN (0, 1)),
    yesterday_run TEXT,
    note TEXT
);
CREATE TABLE hand_counts (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    local_date TEXT NOT NULL,
    beats_in_30_s INTEGER NOT NULL,
    saved_at TEXT NOT NULL
);
CREATE TABLE runs (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    local_date TEXT NOT NULL,
    began TEXT NOT NULL,
    began_utc_s INTEGER NOT NULL,
    elapsed_s REAL NOT NULL,
    duration_s REAL NOT NULL,
    measured_s REAL NOT NULL,
    missing_json TEXT NOT NULL,
    distance_m REAL,
    mean_bpm REAL,
    peak_bpm REAL,
    drift_pct REAL,
    ms_at_bpm BLOB NOT NULL,
    felt_effort REAL CHECK (felt_effort BETWEEN 0 AND 10),
    note TEXT NOT NULL,
    race INTEGER NOT NULL CHECK (race IN (0, 1)),
    source TEXT NOT NULL,
    format TEXT NOT NULL,
    sha256 TEXT UNIQUE,
    saved_at TEXT NOT NULL,
    binned_at TEXT
);
CREATE INDEX runs_by_date ON runs (local_date, began_utc_s);
CREATE INDEX runs_by_start ON runs (began_utc_s);
CREATE TABLE run_samples (
    run_id INTEGER PRIMARY KEY REFERENCES runs (id) ON DELETE CASCADE,
    samples BLOB NOT NULL
);
CREATE TABLE run_marks (
    run_id INTEGER NOT NULL REFERENCES runs (id) ON DELETE CASCADE,
    position INTEGER NOT NULL,
    kind TEXT NOT NULL,
    start_s REAL NOT NULL,
    end_s REAL NOT NULL,
    overruled INTEGER NOT NULL CHECK (overruled IN (0, 1)),
    PRIMARY KEY (run_id, position)
) WITHOUT ROWID;
CREATE TABLE maxima (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    local_date TEXT NOT NULL,
    kind TEXT NOT NULL,
    bpm REAL NOT NULL,
    added_bpm INTEGER NOT NULL,
    note TEXT NOT NULL,
    run_id INTEGER REFERENCES runs (id) ON DELETE SET NULL,
    saved_at TEXT NOT NULL
);
CREATE TABLE thresholds (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    local_date TEXT NOT NULL,
    bpm REAL NOT NULL,
    pace_s_per_km REAL,
    note TEXT NOT NULL,
    run_id INTEGER REFERENCES runs (id) ON DELETE SET NULL,
    saved_at TEXT NOT NULL
);
CREATE TABLE zone_sets (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    from_date TEXT NOT NULL UNIQUE,
    scheme_json TEXT NOT NULL,
    resting_bpm REAL,
    maximum_bpm REAL,
    threshold_bpm REAL,
    why TEXT NOT NULL,
    saved_at TEXT NOT NULL
);
CREATE TABLE training_settings (
    name TEXT PRIMARY KEY,
    value_json TEXT NOT NULL
) WITHOUT ROWID;
CREATE TABLE hand_edits (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    reading_id INTEGER NOT NULL REFERENCES readings (id) ON DELETE CASCADE,
    changes_json TEXT NOT NULL,
    before_json TEXT NOT NULL,
    analysed_with INTEGER NOT NULL,
    made_at TEXT NOT NULL,
    taken_back_at TEXT
);
CREATE INDEX hand_edits_by_reading ON hand_edits (reading_id, id);
PRAGMA application_id = 1145132878;
PRAGMA user_version = 3;
