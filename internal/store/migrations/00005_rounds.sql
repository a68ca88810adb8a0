-- Recomputation: what is to be derived again, and what came of it. The rows are
-- notes on the work; what it finds stands with the results.
-- +goose Up

CREATE TABLE rounds (
	id       {{.Text}} PRIMARY KEY,
	begun    BIGINT NOT NULL,
	ended    BIGINT,
	program  {{.Text}} NOT NULL,
	keep     SMALLINT NOT NULL CHECK (keep IN (0, 1)),
	selected {{.Text}} NOT NULL,
	who      {{.Text}} NOT NULL,
	why      {{.Text}} NOT NULL
);

CREATE TABLE tasks (
	round    {{.Text}} NOT NULL REFERENCES rounds (id),
	campaign {{.Text}} NOT NULL REFERENCES campaigns (id),
	done     BIGINT,
	outcome  {{.Text}} NOT NULL,
	PRIMARY KEY (round, campaign)
);
CREATE INDEX tasks_open ON tasks (round, campaign) WHERE done IS NULL;

-- Whether a file has a row is asked when files are swept.
CREATE INDEX originals_digest ON originals (digest);
CREATE INDEX attachments_digest ON attachments (digest);
