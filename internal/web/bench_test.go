package web

import (
	"net/http"
	"net/http/httptest"
	"testing"

	"fairpull/internal/lab"
)

// answers serves one page as often as asked.
func answers(b *testing.B, path string, prepare func(s *site)) {
	s := open(b, nil)
	judge(b, s)
	handler := s.Handler()
	size := 0
	for b.Loop() {
		if prepare != nil {
			prepare(s)
		}
		r := httptest.NewRequestWithContext(b.Context(), http.MethodGet, "http://127.0.0.1"+path, nil)
		r.Header.Set("Accept-Encoding", "gzip")
		w := httptest.NewRecorder()
		handler.ServeHTTP(w, r)
		if w.Code != http.StatusOK {
			b.Fatalf("%d: %s", w.Code, w.Body)
		}
		size = w.Body.Len()
	}
	b.ReportMetric(float64(size), "wire-bytes")
}

func BenchmarkOverview(b *testing.B)     { answers(b, "/", nil) }
func BenchmarkCampaignPage(b *testing.B) { answers(b, campaignPath, nil) }

// The first who looks after a change waits for the analysis, too.
func BenchmarkCampaignPageFirst(b *testing.B) {
	answers(b, campaignPath, func(s *site) { s.desk = lab.NewDesk(s.w) })
}
