-- Claims with every state kept, the lab's policy and list of keys, the record.
-- +goose Up

-- What a claim states is fixed when it is drafted.
CREATE TABLE claims (
	number    {{.Text}} PRIMARY KEY,
	position  BIGINT NOT NULL UNIQUE CHECK (position > 0),
	campaign  {{.Text}} NOT NULL REFERENCES campaigns (id),
	candidate {{.Text}} NOT NULL,
	result    {{.Text}} NOT NULL REFERENCES results (id),
	amends    {{.Text}} REFERENCES claims (number),
	digest    {{.Text}} NOT NULL,
	body      {{.Text}} NOT NULL,
	change    BIGINT NOT NULL REFERENCES changes (seq) DEFERRABLE INITIALLY DEFERRED
);
CREATE INDEX claims_campaign ON claims (campaign, position);

-- Each state that a claim came into, with its seal as it then was.
CREATE TABLE claim_states (
	claim       {{.Text}} NOT NULL REFERENCES claims (number),
	change      BIGINT NOT NULL REFERENCES changes (seq) DEFERRABLE INITIALLY DEFERRED,
	state       {{.Text}} NOT NULL CHECK (state IN ('draft', 'reviewed', 'signed', 'published', 'amended', 'withdrawn')),
	who         {{.Text}} NOT NULL,
	why         {{.Text}} NOT NULL,
	seal_digest {{.Text}} NOT NULL,
	seal        {{.Text}} NOT NULL,
	PRIMARY KEY (claim, change)
);

-- The files of a claim's dossier, fixed when it is signed.
CREATE TABLE claim_files (
	claim  {{.Text}} NOT NULL REFERENCES claims (number),
	name   {{.Text}} NOT NULL,
	size   BIGINT NOT NULL,
	digest {{.Text}} NOT NULL,
	change BIGINT NOT NULL REFERENCES changes (seq) DEFERRABLE INITIALLY DEFERRED,
	PRIMARY KEY (claim, name)
);
CREATE INDEX claim_files_digest ON claim_files (digest);

-- Each version of the policy, of the list of keys, and of what counts as neutral.
CREATE TABLE lab_texts (
	kind   {{.Text}} NOT NULL CHECK (kind IN ('policy', 'keys', 'neutral')),
	change BIGINT NOT NULL REFERENCES changes (seq) DEFERRABLE INITIALLY DEFERRED,
	digest {{.Text}} NOT NULL,
	body   {{.Text}} NOT NULL,
	PRIMARY KEY (kind, change)
);

-- The record: its leaves, and the hashes over them by number.
CREATE TABLE record_leaves (
	n      BIGINT PRIMARY KEY CHECK (n >= 0),
	digest {{.Text}} NOT NULL UNIQUE,
	body   {{.Text}} NOT NULL,
	change BIGINT NOT NULL REFERENCES changes (seq) DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE record_hashes (
	number BIGINT PRIMARY KEY CHECK (number >= 0),
	hash   {{.Text}} NOT NULL
);

-- +goose StatementBegin
CREATE TRIGGER claims_not_deleted BEFORE DELETE ON claims FOR EACH ROW {{.Refuse}}
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER claims_not_changed BEFORE UPDATE ON claims FOR EACH ROW {{.Refuse}}
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER claim_states_not_deleted BEFORE DELETE ON claim_states FOR EACH ROW {{.Refuse}}
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER claim_states_not_changed BEFORE UPDATE ON claim_states FOR EACH ROW {{.Refuse}}
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER claim_files_not_deleted BEFORE DELETE ON claim_files FOR EACH ROW {{.Refuse}}
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER claim_files_not_changed BEFORE UPDATE ON claim_files FOR EACH ROW {{.Refuse}}
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER lab_texts_not_deleted BEFORE DELETE ON lab_texts FOR EACH ROW {{.Refuse}}
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER lab_texts_not_changed BEFORE UPDATE ON lab_texts FOR EACH ROW {{.Refuse}}
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER record_leaves_not_deleted BEFORE DELETE ON record_leaves FOR EACH ROW {{.Refuse}}
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER record_leaves_not_changed BEFORE UPDATE ON record_leaves FOR EACH ROW {{.Refuse}}
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER record_hashes_not_deleted BEFORE DELETE ON record_hashes FOR EACH ROW {{.Refuse}}
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER record_hashes_not_changed BEFORE UPDATE ON record_hashes FOR EACH ROW {{.Refuse}}
-- +goose StatementEnd
