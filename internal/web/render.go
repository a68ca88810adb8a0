package web

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"html/template"
	"net/http"
	"net/url"
	"strings"

	"fairpull/internal/lab"
	"fairpull/quantity"
)

// templates are the pages by their names, each within the base.
type templates map[string]*template.Template

// pageNames are the folders that have a page.html.
var pageNames = []string{"overview", "campaign", "signin", "problem", "history", "standard", "pull", "logtext", "measuring", "explain", "plan", "sheet", "vehicles", "dynos", "dyno", "calibrate", "trail", "recipe", "claims", "claim", "draft", "details", "covers", "steps"}

func loadTemplates(a *assets) (*templates, error) {
	base, err := template.New("base.html").Funcs(template.FuncMap{
		"asset": a.path,
		"join":  strings.Join,
		"segment": func(s string) string { // one segment of a path
			return url.PathEscape(s)
		},
	}).ParseFS(content, "base/base.html")
	if err != nil {
		return nil, err
	}
	out := templates{}
	for _, name := range pageNames {
		page, err := base.Clone()
		if err != nil {
			return nil, err
		}
		if out[name], err = page.ParseFS(content, name+"/page.html"); err != nil {
			return nil, err
		}
	}
	return &out, nil
}

// frame is what every page has about its own content. A page's view embeds it.
type frame struct {
	Title   string
	Section string // of the navigation
	Wide    bool

	Account  *lab.Account // nil: nobody has to sign in
	Accounts bool         // people sign in here
	Units    quantity.System
	Here     string // path and query of this page
	Version  string
	Place    string // of the workspace
	Notice   string // what was just done; empty: nothing
	// Live is what the page follows, as the events name it: "campaign twin" or
	// "*" for every change; empty: nothing. Changed is the change that it shows, Aside
	// what it shows of what is told aside.
	Live           string
	Changed, Aside int64
}

// frame fills in what every page has.
func (s *Server) frame(r *http.Request, title string) frame {
	f := frame{Title: title, Accounts: s.o.Accounts, Units: unitsOf(r), Here: r.URL.RequestURI(), Version: s.o.Version, Place: s.desk.Place()}
	if who, ok := accountOf(r); ok {
		f.Account = &who
	}
	if s.o.Accounts {
		f.Place = "" // a path of the server is nothing for people elsewhere
	}
	_, f.Aside = s.watch.toldAfter(1<<63 - 1)
	f.Notice = notices[r.URL.Query().Get("done")]
	return f
}

// May reports whether the one who looks may do what a role may: for the
// templates, which then do not offer what would be refused.
func (f frame) May(role string) bool { return f.Account == nil || f.Account.May(lab.Role(role)) }

// notices are what a page says after a change, by the word in the address.
var notices = map[string]string{
	"excluded": "The pull is excluded. It stays in the record, and the report gives the result with and without it.",
	"restored": "The pull takes part again. What was said of it stays in the audit trail.",
	"kept":     "The result is kept, with the data, settings and program that it came from.",
	"same":     "Nothing was written: this result is kept already.",

	"left-out":   "The campaign is left out of the history. Results that were kept with it stand as they are.",
	"taken-back": "The campaign is in the history again.",
	"taken":      "The log is kept, as the next pull.",
	"fitted":     "Noted: what is on the rig.",
	"entered":    "The values are kept.",
	"watching":   "The folder is watched.",
	"unwatched":  "The folder is no longer watched.",

	"drafted":      "The claim is drafted. Somebody else looks it through next.",
	"reviewed":     "Noted: it was looked through.",
	"withdrawn":    "The claim is withdrawn. It stays in the list, with the reason.",
	"details":      "What the report says is kept.",
	"details-same": "Nothing was written: this is what was kept already.",
	"neutral":      "It is held neutral from now on: another part there breaks no cover.",
	"not-neutral":  "It is held neutral no longer.",
	"neutral-same": "Nothing was written: that holds already.",

	"state-open":      "The campaign is open from now on. The reason stays in the audit trail.",
	"state-closed":    "The campaign is closed from now on. The reason stays in the audit trail.",
	"state-withdrawn": "The campaign is withdrawn from now on, and is no history any more. The reason stays in the audit trail.",
	"state-same":      "Nothing was written: the campaign is in this state already.",

	"planned": "The plan is kept. Print the pull sheet, and take it to the rig.",

	"stated":          "The statement is kept, for campaigns that are planned from now on.",
	"stated-same":     "Nothing was written: this is what was stated already.",
	"calibrated":      "The calibration is kept. Results that rest on other values are named below.",
	"calibrated-same": "Nothing was written: this calibration was there already.",
	"taught":          "The recipe is kept: logs of this kind are read so from now on.",
	"taught-same":     "Nothing was written: the dyno has this recipe already.",
	"retired":         "The recipe is ended. Campaigns keep the channels that they took from it.",

	"standard-set":   "The check standard is named.",
	"standard-same":  "Nothing was written: the dyno has this check standard already.",
	"standard-ended": "The dyno has no check standard any more. Its checks stay in the record.",
}

// page writes a page. It is made whole before the first byte is sent.
func (s *Server) page(w http.ResponseWriter, r *http.Request, status int, name string, view any) error {
	var b bytes.Buffer
	if err := (*s.pages)[name].ExecuteTemplate(&b, "base.html", view); err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Cache-Control", "private, no-cache")
	h.Add("Vary", "Cookie")
	if status == http.StatusOK {
		sum := sha256.Sum256(b.Bytes())
		tag := `W/"` + hex.EncodeToString(sum[:12]) + `"`
		h.Set("ETag", tag)
		if r.Header.Get("If-None-Match") == tag {
			w.WriteHeader(http.StatusNotModified)
			return nil
		}
	}
	w.WriteHeader(status)
	_, _ = w.Write(b.Bytes()) // a browser that went away needs no answer
	return nil
}

// unitsCookie remembers the units that a person chose.
const unitsCookie = "units"

// unitsOf returns the units to show: those of the address, else those chosen
// before, else SI.
func unitsOf(r *http.Request) quantity.System {
	if system, err := quantity.ParseSystem(r.URL.Query().Get("units")); err == nil {
		return system
	}
	if cookie, err := r.Cookie(unitsCookie); err == nil {
		if system, err := quantity.ParseSystem(cookie.Value); err == nil {
			return system
		}
	}
	return quantity.SI
}

// setUnits keeps the units that a person chose, and goes back to the page.
func (s *Server) setUnits(w http.ResponseWriter, r *http.Request) error {
	if err := parsed(r); err != nil {
		return err
	}
	system, err := quantity.ParseSystem(r.PostFormValue("units"))
	if err != nil {
		return &requestError{http.StatusBadRequest, err.Error()}
	}
	http.SetCookie(w, &http.Cookie{Name: unitsCookie, Value: system.String(), Path: "/", MaxAge: 365 * 24 * 3600,
		HttpOnly: true, Secure: s.encrypted(), SameSite: http.SameSiteLaxMode})
	http.Redirect(w, r, backTo(r.PostFormValue("back"), "units"), http.StatusSeeOther)
	return nil
}

// backTo returns a place within these pages to go back to, never one elsewhere,
// without the named parameters.
func backTo(place string, without ...string) string {
	u, err := url.Parse(place)
	if err != nil || u.IsAbs() || u.Host != "" || u.User != nil || !strings.HasPrefix(u.Path, "/") || strings.HasPrefix(u.Path, "//") || strings.Contains(place, `\`) {
		return "/"
	}
	q := u.Query()
	for _, name := range append(without, "done") {
		q.Del(name)
	}
	return (&url.URL{Path: u.Path, RawPath: u.RawPath, RawQuery: q.Encode()}).String()
}
