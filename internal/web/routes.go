package web

import (
	"net/http"

	"fairpull/internal/lab"
)

// handler answers a request, or returns why not.
type handler func(w http.ResponseWriter, r *http.Request) error

// route is one address and who may use it.
type route struct {
	pattern string
	role    lab.Role // empty: everybody, signed in or not
	handle  handler
}

// uploads are the routes that take more than a form, with the bytes that may be
// sent to them.
var uploads = map[string]int64{
	logUpload:    maxFileBytes + maxFormBytes,
	recipeUpload: maxFileBytes + maxFormBytes,

	readingsUpload: maxFileBytes + 4*maxFormBytes,
}

// table is every address of the pages. A page that is added gets its lines here.
func (s *Server) table() []route {
	return []route{
		{"GET /{$}", lab.Viewer, s.overview},
		{"GET /campaigns/{id}", lab.Viewer, s.campaign},
		{"GET /campaigns/{id}/files/{file}", lab.Viewer, s.download},
		{"GET /campaigns/{id}/charts/{chart}", lab.Viewer, s.chart(s.campaignCharts)},
		{"POST /campaigns/{id}/exclude", lab.Technician, s.exclude},
		{"POST /campaigns/{id}/restore", lab.Technician, s.restore},
		{"POST /campaigns/{id}/results", lab.Engineer, s.keep},
		{"POST /campaigns/{id}/state", lab.Engineer, s.setState},
		{"GET /trail", lab.Viewer, s.trail},
		{"GET /events", lab.Viewer, s.events},
		{"GET /campaigns/{id}/explain/{figure}", lab.Viewer, s.explain},
		{"GET /campaigns/{id}/pulls/{pull}", lab.Viewer, s.pull},
		{"GET /campaigns/{id}/explain/{figure}/charts/{chart}", lab.Viewer, s.chart(s.explainCharts)},
		{"GET /campaigns/{id}/pulls/{pull}/charts/{chart}", lab.Viewer, s.chart(s.pullCharts)},
		{"GET /campaigns/{id}/pulls/{pull}/raw.json", lab.Viewer, s.rawChannels},
		{"GET /campaigns/{id}/pulls/{pull}/log", lab.Viewer, s.logText},
		{"GET /campaigns/{id}/pulls/{pull}/log/file", lab.Viewer, s.logFile},
		{"GET /history", lab.Viewer, s.history},
		{"GET /history/charts/{chart}", lab.Viewer, s.chart(s.historyCharts)},
		{"POST /history/leave-out", lab.Engineer, s.leaveOut},
		{"POST /history/take-back", lab.Engineer, s.takeBack},
		{"GET /check-standards", lab.Viewer, s.checkStandard},
		{"GET /check-standards/charts/{chart}", lab.Viewer, s.chart(s.standardCharts)},
		{"POST /check-standards", lab.Engineer, s.setStandard},
		{"POST /check-standards/end", lab.Engineer, s.retireStandard},
		{"POST /units", lab.Viewer, s.setUnits},
		{"GET /campaigns/{id}/measuring", lab.Viewer, s.measuring},
		{"POST /campaigns/{id}/measuring/fitted", lab.Technician, s.rigFitted},
		{"POST /campaigns/{id}/measuring/values", lab.Technician, s.rigValues},
		{"POST /campaigns/{id}/measuring/last", lab.Technician, s.rigLast},
		{"POST /campaigns/{id}/measuring/folder", lab.Technician, s.rigFolder},
		{logUpload, lab.Technician, s.rigLog},

		{"GET /plan", lab.Viewer, s.planPage},
		{"GET /plan/charts/{chart}", lab.Viewer, s.chart(s.planCharts)},
		{"POST /plan", lab.Engineer, s.keepPlan},
		{"GET /campaigns/{id}/plan", lab.Viewer, s.planSheet},
		{"GET /campaigns/{id}/plan/{file}", lab.Viewer, s.sheetFile},

		{"GET /claims", lab.Viewer, s.claims},
		{"POST /claims", lab.Engineer, s.draftClaim},
		{"GET /claims/new", lab.Engineer, s.draftPage},
		{"GET /claims/details", lab.Viewer, s.detailsPage},
		{"POST /claims/details", lab.Engineer, s.keepDetails},
		{"GET /claims/{claim}", lab.Viewer, s.claim},
		{"GET /claims/{claim}/charts/{chart}", lab.Viewer, s.chart(s.claimCharts)},
		{"GET /claims/{claim}/files/{file}", lab.Viewer, s.claimFile},
		{"GET /claims/{claim}/details", lab.Viewer, s.detailsPage},
		{"POST /claims/{claim}/details", lab.Engineer, s.keepDetails},
		{"POST /claims/{claim}/review", lab.Engineer, s.reviewClaim},
		{"POST /claims/{claim}/withdraw", lab.Approver, s.withdrawClaim},
		{"GET /covers", lab.Viewer, s.covers},
		{"GET /covers.json", lab.Viewer, s.coversJSON},
		{"POST /covers/neutral", lab.Engineer, s.setNeutral},
		{"GET /campaigns/{id}/steps", lab.Viewer, s.steps},
		{"GET /campaigns/{id}/steps/charts/{chart}", lab.Viewer, s.chart(s.stepsCharts)},

		{"GET /vehicles", lab.Viewer, s.vehicles},
		{"POST /vehicles", lab.Engineer, s.saveVehicle},
		{"GET /dynos", lab.Viewer, s.dynos},
		{"POST /dynos", lab.Engineer, s.addDyno},
		{"GET /dynos/{dyno}", lab.Viewer, s.dyno},
		{"POST /dynos/{dyno}", lab.Engineer, s.saveDyno},
		{"POST /dynos/{dyno}/calibrations", lab.Engineer, s.calibrate},
		{"GET /dynos/{dyno}/calibrate", lab.Viewer, s.calibrateKinds},
		{"GET /dynos/{dyno}/calibrate/{kind}", lab.Viewer, s.calibrateGuide},
		{readingsUpload, lab.Technician, s.takeReadings},
		{"POST /dynos/{dyno}/calibrate/{kind}", lab.Engineer, s.keepReadings},
		{"GET /dynos/{dyno}/recipes/new", lab.Technician, s.teach},
		{"GET /dynos/{dyno}/recipes/new/charts/{chart}", lab.Technician, s.chart(s.teachCharts)},
		{recipeUpload, lab.Technician, s.takeSample},
		{"POST /dynos/{dyno}/recipes", lab.Technician, s.keepRecipe},
		{"POST /dynos/{dyno}/recipes/end", lab.Technician, s.retireRecipe},

		{"GET /sign-in", "", s.signInPage},
		{"POST /sign-in", "", s.signIn},
		{"POST /sign-out", "", s.signOut},
		{"GET /healthz", "", s.healthy},
		{"GET /readyz", "", s.ready},
		{"GET /metrics", lab.Engineer, s.showMetrics},
	}
}

// routes puts the table into a router.
func (s *Server) routes() http.Handler {
	mux := http.NewServeMux()
	for _, row := range s.table() {
		mux.Handle(row.pattern, limitBody(uploads[row.pattern], s.sessions.load(row.pattern, s.allowed(row))))
	}
	mux.HandleFunc("GET /assets/{file}", s.assets.serve)
	mux.Handle("/", limitBody(0, s.sessions.load("/", s.allowed(route{pattern: "/", role: lab.Viewer, handle: func(http.ResponseWriter, *http.Request) error {
		return &requestError{http.StatusNotFound, "There is no such page. The overview has all campaigns."}
	}}))))
	return mux
}

// allowed lets a request through to its handler where the one who asks may.
func (s *Server) allowed(row route) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if row.role != "" && s.o.Accounts {
			who, err := s.signedIn(r)
			if err != nil {
				s.problem(w, r, err)
				return
			}
			if who == nil {
				s.askToSignIn(w, r)
				return
			}
			r = withAccount(r, *who)
			if !who.May(row.role) {
				s.problem(w, r, &requestError{http.StatusForbidden, "This needs the role " + string(row.role) + " or one above it; " + who.Name + " has the role " + string(who.Role) + ". Ask whoever keeps the accounts."})
				return
			}
		}
		err := plainAddress(r)
		if err == nil {
			err = row.handle(w, r)
		}
		if err != nil {
			s.problem(w, r, err)
		}
	})
}

// by returns who writes, for the audit trail.
func (s *Server) by(r *http.Request) string {
	if who, ok := accountOf(r); ok {
		return who.Name
	}
	return s.o.By
}
