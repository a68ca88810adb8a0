-- What the lab's history leaves out, and the verdicts of results for lists.
-- +goose Up

-- A campaign that is left out of the history, from one change to another. Who
-- did it and why stands with the changes.
CREATE TABLE left_out (
	campaign {{.Text}} NOT NULL REFERENCES campaigns (id),
	since    BIGINT NOT NULL REFERENCES changes (seq) DEFERRABLE INITIALLY DEFERRED,
	until    BIGINT REFERENCES changes (seq) DEFERRABLE INITIALLY DEFERRED CHECK (until > since),
	PRIMARY KEY (campaign, since)
);
CREATE UNIQUE INDEX left_out_current ON left_out (campaign) WHERE until IS NULL;

-- The verdicts of a result, as lists show them, apart from its large texts.
CREATE TABLE verdicts (
	result  {{.Text}} PRIMARY KEY REFERENCES results (id),
	verdict {{.Text}} NOT NULL
);

-- +goose StatementBegin
CREATE TRIGGER left_out_not_deleted BEFORE DELETE ON left_out FOR EACH ROW {{.Refuse}}
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER left_out_not_changed BEFORE UPDATE OF campaign, since ON left_out FOR EACH ROW {{.Refuse}}
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER left_out_ends_once BEFORE UPDATE OF until ON left_out FOR EACH ROW WHEN (OLD.until IS NOT NULL) {{.Refuse}}
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER verdicts_not_deleted BEFORE DELETE ON verdicts FOR EACH ROW {{.Refuse}}
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER verdicts_not_changed BEFORE UPDATE OF result, verdict ON verdicts FOR EACH ROW {{.Refuse}}
-- +goose StatementEnd
