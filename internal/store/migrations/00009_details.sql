-- What a lab's test reports say beside what was measured, every version of it.
-- +goose Up

-- Of the lab, whose claim is empty, or of one claim.
CREATE TABLE details (
	claim  {{.Text}} NOT NULL,
	change BIGINT NOT NULL REFERENCES changes (seq) DEFERRABLE INITIALLY DEFERRED,
	digest {{.Text}} NOT NULL,
	body   {{.Text}} NOT NULL,
	PRIMARY KEY (claim, change)
);

-- +goose StatementBegin
CREATE TRIGGER details_not_deleted BEFORE DELETE ON details FOR EACH ROW {{.Refuse}}
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER details_not_changed BEFORE UPDATE ON details FOR EACH ROW {{.Refuse}}
-- +goose StatementEnd
