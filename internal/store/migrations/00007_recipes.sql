-- What a dyno's logger writes. until is the change that superseded or retired
-- the row.
-- +goose Up

CREATE TABLE recipes (
	dyno   {{.Text}} NOT NULL,
	name   {{.Text}} NOT NULL,
	since  BIGINT NOT NULL REFERENCES changes (seq) DEFERRABLE INITIALLY DEFERRED,
	until  BIGINT REFERENCES changes (seq) DEFERRABLE INITIALLY DEFERRED CHECK (until > since),
	digest {{.Text}} NOT NULL,
	body   {{.Text}} NOT NULL,
	PRIMARY KEY (dyno, name, since)
);
CREATE UNIQUE INDEX recipes_current ON recipes (dyno, name) WHERE until IS NULL;

-- +goose StatementBegin
CREATE TRIGGER recipes_not_deleted BEFORE DELETE ON recipes FOR EACH ROW {{.Refuse}}
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER recipes_not_changed BEFORE UPDATE OF dyno, name, since, digest, body ON recipes FOR EACH ROW {{.Refuse}}
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER recipes_ends_once BEFORE UPDATE OF until ON recipes FOR EACH ROW WHEN (OLD.until IS NOT NULL) {{.Refuse}}
-- +goose StatementEnd
