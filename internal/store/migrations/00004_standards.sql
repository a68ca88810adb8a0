-- Which vehicle is a dyno's check standard, and what its campaigns say of the
-- dyno. until is the change that superseded or retired the row.
-- +goose Up

CREATE TABLE standards (
	dyno   {{.Text}} NOT NULL,
	since  BIGINT NOT NULL REFERENCES changes (seq) DEFERRABLE INITIALLY DEFERRED,
	until  BIGINT REFERENCES changes (seq) DEFERRABLE INITIALLY DEFERRED CHECK (until > since),
	digest {{.Text}} NOT NULL,
	body   {{.Text}} NOT NULL,
	PRIMARY KEY (dyno, since)
);
CREATE UNIQUE INDEX standards_current ON standards (dyno) WHERE until IS NULL;

-- What was read from a campaign, so that it is not read again: key names all that
-- it depends on. It can be rebuilt from the rest, and may be deleted.
CREATE TABLE readings (
	campaign {{.Text}} NOT NULL REFERENCES campaigns (id),
	kind     {{.Text}} NOT NULL,
	key      {{.Text}} NOT NULL,
	digest   {{.Text}} NOT NULL,
	body     {{.Text}} NOT NULL,
	PRIMARY KEY (campaign, kind)
);

-- +goose StatementBegin
CREATE TRIGGER standards_not_deleted BEFORE DELETE ON standards FOR EACH ROW {{.Refuse}}
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER standards_not_changed BEFORE UPDATE OF dyno, since, digest, body ON standards FOR EACH ROW {{.Refuse}}
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER standards_ends_once BEFORE UPDATE OF until ON standards FOR EACH ROW WHEN (OLD.until IS NOT NULL) {{.Refuse}}
-- +goose StatementEnd
