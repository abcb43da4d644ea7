// Package archive keeps measured files with their verdicts, so that the data of
// a serial number as it was shipped are found again years later: the file's own
// bytes, compressed, with their checksum, the conditions of the measurement, and
// the verdict with the rule it was made by.
//
// It is one SQLite database. A file's bytes stand in it once however often they
// are added, and the same judgement of the same bytes under the same conditions
// is one record: adding again changes nothing, and an import that was killed is
// simply run again. What [Archive.Put] has taken is on disk after
// [Archive.Flush], at the latest.
package archive

import (
	"bytes"
	"compress/zlib"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	_ "modernc.org/sqlite" // the driver
)

// Conditions are those of a measurement.
type Conditions struct {
	TemperatureK *float64 `json:"temperature_k"`
	Instrument   string   `json:"instrument"` // analyser, calibration and its date
	Note         string   `json:"note"`
}

// Record is one judgement of one file.
type Record struct {
	ID      int64   `json:"id"`
	SHA256  string  `json:"sha256"` // of the file's bytes
	Name    string  `json:"name"`
	Serial  string  `json:"serial"`
	Bytes   int64   `json:"bytes"`
	Ports   int     `json:"ports"`
	Points  int     `json:"points"`
	FromHz  float64 `json:"from_hz"`
	ToHz    float64 `json:"to_hz"`
	Quality string  `json:"quality"`
	Chain   string  `json:"chain"` // empty: kept without a verdict
	Enquiry string  `json:"enquiry"`
	Verdict string  `json:"verdict"`
	Rule    string  `json:"rule"` // the decision rule in full
	Version string  `json:"version"`
	Added   string  `json:"added"` // UTC, RFC 3339
	Conditions
	Report json.RawMessage `json:"report,omitempty"` // the whole judgement
}

// digest tells two records apart: what was judged, by what, with what outcome.
func (r Record) digest() []byte {
	temperature := math.NaN()
	if r.TemperatureK != nil {
		temperature = *r.TemperatureK
	}
	h := sha256.New()
	for _, s := range []string{r.SHA256, r.Name, r.Serial, r.Quality, r.Chain, r.Enquiry, r.Verdict, r.Rule, fmt.Sprint(temperature), r.Instrument, r.Note} {
		fmt.Fprintf(h, "%d:%s", len(s), s)
	}
	return h.Sum(nil)
}

// Added counts what an import did.
type Added struct {
	New   int // records that were not there
	There int // records that were
}

// Errors that name their cure.
var (
	ErrNotArchive = errors.New("the file is no archive of measured files")
	ErrNewer      = errors.New("the archive was made by a newer version of the program")
	ErrDamaged    = errors.New("the archive is damaged")
	ErrNone       = errors.New("there is no such record")
)

// Archive is an open archive. Put and Flush are for one goroutine.
type Archive struct {
	name    string
	db      *sql.DB
	tx      *sql.Tx
	pending Added
	since   time.Time
}

// application marks the database as ours: "LWar".
const application = 0x4c576172

// migrations bring a database from one version to the next; its version is
// PRAGMA user_version, the number of those that were applied.
var migrations = [...]string{`
CREATE TABLE file (
	id     INTEGER PRIMARY KEY,
	sha256 BLOB    NOT NULL UNIQUE CHECK (length(sha256) = 32),
	size   INTEGER NOT NULL,
	packed BLOB    NOT NULL -- zlib
) STRICT;
CREATE TABLE record (
	id            INTEGER PRIMARY KEY,
	file          INTEGER NOT NULL REFERENCES file (id),
	digest        BLOB    NOT NULL UNIQUE CHECK (length(digest) = 32),
	name          TEXT    NOT NULL,
	serial        TEXT    NOT NULL,
	ports         INTEGER NOT NULL,
	points        INTEGER NOT NULL,
	from_hz       REAL    NOT NULL,
	to_hz         REAL    NOT NULL,
	quality       TEXT    NOT NULL,
	chain         TEXT    NOT NULL,
	enquiry       TEXT    NOT NULL,
	verdict       TEXT    NOT NULL,
	rule          TEXT    NOT NULL,
	temperature_k REAL,
	instrument    TEXT    NOT NULL,
	note          TEXT    NOT NULL,
	version       TEXT    NOT NULL,
	report        BLOB    NOT NULL, -- zlib of JSON; empty: none
	added         TEXT    NOT NULL
) STRICT;
CREATE INDEX record_serial ON record (serial);
CREATE INDEX record_file ON record (file);
CREATE INDEX record_added ON record (added);
`}

// Open opens the archive in a file, and makes it when there is none.
func Open(name string) (*Archive, error) {
	return open(name, migrations[:])
}

// OpenOld opens an archive that is there.
func OpenOld(name string) (*Archive, error) {
	info, err := os.Stat(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("%s: %w", name, fs.ErrNotExist)
	case err != nil:
		return nil, err
	case info.Size() == 0: // cut off: to SQLite a new database, and all its files would seem never to have been
		return nil, fmt.Errorf("%s: %w: the file is empty", name, ErrDamaged)
	}
	return Open(name)
}

func open(name string, steps []string) (*Archive, error) {
	abs, err := filepath.Abs(name)
	if err != nil {
		return nil, err
	}
	u := url.URL{Scheme: "file", OmitHost: true, Path: filepath.ToSlash(abs),
		RawQuery: "_pragma=busy_timeout(10000)&_pragma=journal_mode(WAL)&_pragma=foreign_keys(1)&_pragma=synchronous(NORMAL)&_txlock=immediate"}
	db, err := sql.Open("sqlite", u.String())
	if err != nil {
		return nil, err
	}
	a := &Archive{name: name, db: db}
	if err := a.migrate(steps); err != nil {
		db.Close()
		return nil, fmt.Errorf("%s: %w", name, plain(err))
	}
	return a, nil
}

// plain turns what SQLite says of a broken file into our own errors.
func plain(err error) error {
	var named interface{ Code() int }
	if !errors.As(err, &named) {
		return err
	}
	switch named.Code() & 0xff { // the primary result code
	case 11: // SQLITE_CORRUPT
		return fmt.Errorf("%w: %w", ErrDamaged, err)
	case 26: // SQLITE_NOTADB
		return ErrNotArchive
	}
	return err
}

// errChecksum is the damage of one file.
var errChecksum = fmt.Errorf("%w: archived bytes do not have their checksum", ErrDamaged)

// Name is the archive's file, as it was named.
func (a *Archive) Name() string { return a.name }

// migrate brings the database to the newest version, each step whole or not at
// all, whoever else is at it.
func (a *Archive) migrate(steps []string) error {
	ctx := context.Background()
	tx, err := a.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() // without effect after the commit
	var version, id, tables int
	if err := errors.Join(tx.QueryRow("PRAGMA user_version").Scan(&version), tx.QueryRow("PRAGMA application_id").Scan(&id), tx.QueryRow("SELECT count(*) FROM sqlite_schema").Scan(&tables)); err != nil {
		return err
	}
	switch {
	case id != application && (tables > 0 || version > 0):
		return ErrNotArchive
	case version > len(steps):
		return fmt.Errorf("%w (%d, this one knows %d)", ErrNewer, version, len(steps))
	case version == len(steps):
		return nil
	}
	for _, step := range steps[version:] {
		if _, err := tx.Exec(step); err != nil {
			return err
		}
	}
	if _, err := tx.Exec(fmt.Sprintf("PRAGMA application_id = %d; PRAGMA user_version = %d", application, len(steps))); err != nil {
		return err
	}
	return tx.Commit()
}

// Close gives up what was not flushed and closes the archive.
func (a *Archive) Close() error {
	if a.tx != nil {
		_ = a.tx.Rollback() // what is lost was not reported as kept
		a.tx = nil
	}
	return a.db.Close()
}

// Files and records are committed in groups: each commit costs more than a file.
const (
	groupRecords = 200
	groupTime    = time.Second
)

// Put takes a file with its record. The record's checksum, size and time are
// filled in here.
func (a *Archive) Put(ctx context.Context, data []byte, r Record) (err error) {
	defer func() { err = plain(err) }()
	sum := sha256.Sum256(data)
	r.SHA256 = hex.EncodeToString(sum[:])
	if a.tx == nil {
		tx, err := a.db.BeginTx(ctx, nil)
		if err != nil {
			return err
		}
		a.tx, a.since = tx, time.Now()
	}
	var file int64
	err = a.tx.QueryRowContext(ctx, "SELECT id FROM file WHERE sha256 = ?", sum[:]).Scan(&file)
	if errors.Is(err, sql.ErrNoRows) {
		var res sql.Result
		if res, err = a.tx.ExecContext(ctx, "INSERT INTO file (sha256, size, packed) VALUES (?, ?, ?)", sum[:], len(data), pack(data)); err == nil {
			file, err = res.LastInsertId()
		}
	}
	if err != nil {
		return err
	}
	report := []byte{}
	if len(r.Report) > 0 {
		report = pack(r.Report)
	}
	res, err := a.tx.ExecContext(ctx, `INSERT INTO record (file, digest, name, serial, ports, points, from_hz, to_hz, quality, chain, enquiry, verdict, rule, temperature_k, instrument, note, version, report, added)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (digest) DO NOTHING`,
		file, r.digest(), r.Name, r.Serial, r.Ports, r.Points, r.FromHz, r.ToHz, r.Quality, r.Chain, r.Enquiry, r.Verdict, r.Rule, r.TemperatureK, r.Instrument, r.Note, r.Version, report, time.Now().UTC().Format(time.RFC3339))
	if err != nil {
		return err
	}
	n, err := res.RowsAffected()
	if err != nil {
		return err
	}
	if n > 0 {
		a.pending.New++
	} else {
		a.pending.There++
	}
	return nil
}

// Due says that enough has been taken for a commit.
func (a *Archive) Due() bool {
	return a.tx != nil && (a.pending.New+a.pending.There >= groupRecords || time.Since(a.since) >= groupTime)
}

// Flush commits what was taken, and counts it.
func (a *Archive) Flush(_ context.Context, to *Added) error {
	if a.tx == nil {
		return nil
	}
	err := a.tx.Commit()
	a.tx = nil
	if err != nil {
		return err
	}
	to.New += a.pending.New
	to.There += a.pending.There
	a.pending = Added{}
	return nil
}

func pack(data []byte) []byte {
	var b bytes.Buffer
	w := zlib.NewWriter(&b)
	_, _ = w.Write(data) // a buffer takes everything
	_ = w.Close()
	return b.Bytes()
}

// unpack refuses what grows beyond the size that was written down.
func unpack(packed []byte, size int64) ([]byte, error) {
	r, err := zlib.NewReader(bytes.NewReader(packed))
	if err != nil {
		return nil, fmt.Errorf("%w: %w", errChecksum, err)
	}
	var from io.Reader = r
	if size >= 0 {
		from = io.LimitReader(r, size+1)
	}
	data, err := io.ReadAll(from)
	if err != nil || size >= 0 && int64(len(data)) != size {
		return nil, errChecksum
	}
	return data, nil
}

// Query chooses records; empty fields choose all.
type Query struct {
	Serial  string // may hold * for any letters
	Chain   string // likewise
	Name    string // likewise
	SHA256  string // the checksum, or its beginning
	Verdict string
	From    string // added at or after this time, or on this day: the beginning of an RFC 3339 time
	Until   string // added at or before it
	Most    int    // 0: 1000
}

const columns = `record.id, sha256, name, serial, size, ports, points, from_hz, to_hz, quality, chain, enquiry, verdict, rule, version, added, temperature_k, instrument, note`

func scan(row interface{ Scan(...any) error }, more ...any) (Record, error) {
	var r Record
	var sum []byte
	err := row.Scan(append([]any{&r.ID, &sum, &r.Name, &r.Serial, &r.Bytes, &r.Ports, &r.Points, &r.FromHz, &r.ToHz, &r.Quality, &r.Chain, &r.Enquiry, &r.Verdict, &r.Rule, &r.Version, &r.Added, &r.TemperatureK, &r.Instrument, &r.Note}, more...)...)
	r.SHA256 = hex.EncodeToString(sum)
	return r, err
}

// Find returns the records that fit, the newest first, and how many fit in all.
func (a *Archive) Find(ctx context.Context, q Query) (records []Record, all int, err error) {
	defer func() { err = plain(err) }()
	var where []string
	var args []any
	add := func(condition string, x any) { where, args = append(where, condition), append(args, x) }
	for column, pattern := range map[string]string{"serial": q.Serial, "chain": q.Chain, "name": q.Name} {
		switch {
		case pattern == "":
		case strings.Contains(pattern, "*"):
			add(column+` LIKE ? ESCAPE '\'`, strings.ReplaceAll(escapeLike(pattern), "*", "%"))
		default:
			add(column+" = ?", pattern)
		}
	}
	if q.SHA256 != "" {
		add("hex(sha256) LIKE ?", strings.ToUpper(strings.Map(hexOnly, q.SHA256))+"%")
	}
	if q.Verdict != "" {
		add("verdict = ?", q.Verdict)
	}
	if q.From != "" {
		add("added >= ?", q.From)
	}
	if q.Until != "" {
		add("added <= ?", q.Until+"~") // the rest of the day or hour that is named
	}
	from := " FROM record JOIN file ON file.id = record.file"
	if len(where) > 0 {
		from += " WHERE " + strings.Join(where, " AND ")
	}
	if err := a.db.QueryRowContext(ctx, "SELECT count(*)"+from, args...).Scan(&all); err != nil {
		return nil, 0, err
	}
	most := q.Most
	if most <= 0 {
		most = 1000
	}
	rows, err := a.db.QueryContext(ctx, "SELECT "+columns+from+" ORDER BY added DESC, record.id DESC LIMIT ?", append(args, most)...)
	if err != nil {
		return nil, 0, err
	}
	defer rows.Close()
	records = []Record{}
	for rows.Next() {
		r, err := scan(rows)
		if err != nil {
			return nil, 0, err
		}
		records = append(records, r)
	}
	return records, all, rows.Err()
}

func escapeLike(s string) string {
	return strings.NewReplacer(`\`, `\\`, "%", `\%`, "_", `\_`).Replace(s)
}

func hexOnly(r rune) rune {
	if strings.ContainsRune("0123456789abcdefABCDEF", r) {
		return r
	}
	return -1
}

// Get returns a record with its report and the file's bytes, which are checked
// against their checksum.
func (a *Archive) Get(ctx context.Context, id int64) (r Record, data []byte, err error) {
	defer func() { err = plain(err) }()
	var packed, report []byte
	r, err = scan(a.db.QueryRowContext(ctx, "SELECT "+columns+", packed, report FROM record JOIN file ON file.id = record.file WHERE record.id = ?", id), &packed, &report)
	if errors.Is(err, sql.ErrNoRows) {
		return r, nil, fmt.Errorf("%d: %w", id, ErrNone)
	}
	if err != nil {
		return r, nil, err
	}
	if len(report) > 0 {
		if r.Report, err = unpack(report, -1); err != nil {
			return r, nil, err
		}
	}
	if data, err = unpack(packed, r.Bytes); err != nil {
		return r, nil, err
	}
	if sum := sha256.Sum256(data); hex.EncodeToString(sum[:]) != r.SHA256 {
		return r, nil, errChecksum
	}
	return r, data, nil
}

// Check reads the whole archive: that the database is sound and every file has
// its checksum. It returns the number of files.
func (a *Archive) Check(ctx context.Context) (files int, err error) {
	defer func() { err = plain(err) }()
	var says string
	if err := a.db.QueryRowContext(ctx, "PRAGMA integrity_check(1)").Scan(&says); err != nil {
		return 0, err
	}
	if says != "ok" {
		return 0, fmt.Errorf("%w: %s", ErrDamaged, strings.Join(strings.Fields(says), " "))
	}
	rows, err := a.db.QueryContext(ctx, "SELECT id, sha256, size, packed FROM file ORDER BY id")
	if err != nil {
		return 0, err
	}
	defer rows.Close()
	n := 0
	for rows.Next() {
		var id, size int64
		var sum, packed []byte
		if err := rows.Scan(&id, &sum, &size, &packed); err != nil {
			return n, err
		}
		data, err := unpack(packed, size)
		if got := sha256.Sum256(data); err != nil || !bytes.Equal(got[:], sum) {
			return n, fmt.Errorf("file %d: %w", id, errChecksum)
		}
		n++
	}
	return n, rows.Err()
}
