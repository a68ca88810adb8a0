-- What a result rests on is kept: the engine itself refuses to delete such a
-- row or to change it. The one exception is until, which is set once.
-- +goose Up
{{if .Function}}
-- +goose StatementBegin
{{.Function}}
-- +goose StatementEnd
{{end}}
{{range .Kept}}
-- +goose StatementBegin
CREATE TRIGGER {{.Table}}_not_deleted BEFORE DELETE ON {{.Table}} FOR EACH ROW {{$.Refuse}}
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER {{.Table}}_not_changed BEFORE UPDATE OF {{.Columns}} ON {{.Table}} FOR EACH ROW {{$.Refuse}}
-- +goose StatementEnd
{{if .Ends}}
-- +goose StatementBegin
CREATE TRIGGER {{.Table}}_ends_once BEFORE UPDATE OF until ON {{.Table}} FOR EACH ROW WHEN (OLD.until IS NOT NULL) {{$.Refuse}}
-- +goose StatementEnd
{{end}}
{{end}}
