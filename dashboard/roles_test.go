package dashboard

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"solewright/models"
	"solewright/models/retail"
)

// probe is a request that stands for its route: one that succeeds for whoever
// may do it in store A.
type probe struct {
	// make sets up what the request needs and returns its path and body; n is
	// another number for each call.
	make func(r *rig, n int) (path string, body any)
	// ok is the status of a success.
	ok int
	// list says that who has no store in scope is shown nothing rather than
	// refused; the record that mustn't show is then named by hides.
	list  bool
	hides string
}

func fixed(path string) func(*rig, int) (string, any) {
	return func(*rig, int) (string, any) { return path, nil }
}

// stored stores a reading in store A and puts its id into the path.
func stored(path string, body any) func(*rig, int) (string, any) {
	return func(r *rig, n int) (string, any) {
		r.put(n, soundReading)
		return strings.Replace(path, "ID", id(n), 1), body
	}
}

// pairOfReading stores a reading in store A and puts its pair into the path.
func pairOfReading(path string) func(*rig, int) (string, any) {
	return func(r *rig, n int) (string, any) {
		return strings.Replace(path, "REF", r.put(n, soundReading)["pair_ref"].(string), 1), nil
	}
}

// tradeIn is a trade-in of a stored reading.
func tradeIn(of string) fields {
	return fields{
		"inspection_id": of, "store": storeA, "staff": "F-1", "at": "2026-10-05T11:05:00Z",
		"grade": "A", "route": "resale", "credit": 1500, "advised": 1500, "credit_table": 0,
	}
}

var soundFitting = fields{
	"store": storeA, "staff": "F-1", "at": "2026-10-05T11:10:00Z", "runner": "R-1",
	"left": fields{"length_mm": 262}, "right": fields{"length_mm": 264}, "gait": "neutral",
}

// probes holds one request for each route that names a right.
var probes = map[string]probe{
	"GET /me":                 {make: fixed("/me"), ok: http.StatusNotFound}, // a token is nobody's account
	"POST /me":                {make: fixed("/me"), ok: http.StatusSeeOther},
	"GET /":                   {make: fixed("/"), ok: http.StatusSeeOther},
	"GET /bench":              {make: fixed("/bench"), ok: http.StatusOK},
	"GET /bench/context.json": {make: fixed("/bench/context.json"), ok: http.StatusOK},
	"GET /bench/fitting":      {make: fixed("/bench/fitting"), ok: http.StatusOK},
	"GET /bench/:uuid":        {make: fixed("/bench/" + id(1)), ok: http.StatusOK},
	"GET /methods":            {make: fixed("/methods"), ok: http.StatusOK},
	"GET /pairs/:ref":         {make: pairOfReading("/pairs/REF"), ok: http.StatusOK},
	// A manager of every store proves who they are on the screen of who can't void.
	"POST /pairs/:ref/void": {make: func(r *rig, n int) (string, any) {
		must(r.t, r.db.SaveStaff(context.Background(), setup, retail.Staff{Code: "M-1", Role: retail.Manager, Scopes: models.Fleet}))
		must(r.t, r.db.SetPassword(context.Background(), setup, "M-1", password))
		return "/pairs/" + r.pair(n) + "/void", url.Values{"reading": {id(n)}, "reason": {"wrong pair"}, "staff": {"M-1"}, "password": {password}}
	}, ok: http.StatusSeeOther},
	"GET /pairs/:ref/qr.svg": {make: fixed("/pairs/7K3M9QTDS/qr.svg"), ok: http.StatusOK},
	"GET /slip/:id":          {make: stored("/slip/ID", nil), ok: http.StatusOK},

	"POST /judge":         {make: func(*rig, int) (string, any) { return "/judge", soundReading }, ok: http.StatusOK},
	"GET /rules/:n":       {make: fixed("/rules/current"), ok: http.StatusOK},
	"POST /rules/what-if": {make: func(r *rig, _ int) (string, any) { return "/rules/what-if", r.draft() }, ok: http.StatusOK},

	"GET /inspections": {make: stored("/inspections", nil), ok: http.StatusOK, list: true, hides: storeA},
	"PUT /inspections/:id": {make: func(_ *rig, n int) (string, any) {
		return "/inspections/" + id(n), soundReading
	}, ok: http.StatusCreated},
	"GET /inspections/:id":        {make: stored("/inspections/ID", nil), ok: http.StatusOK},
	"GET /inspections/:id/seen":   {make: stored("/inspections/ID/seen", nil), ok: http.StatusOK},
	"GET /inspections/:id/result": {make: stored("/inspections/ID/result", nil), ok: http.StatusOK},
	"POST /inspections/:id/void":  {make: stored("/inspections/ID/void", fields{"reason": "wrong pair"}), ok: http.StatusOK},
	// Who may ask is tested here; that the secret must be right, elsewhere. Each
	// names somebody else, or they would be locked out.
	"POST /inspections/:id/sign-off": {make: func(_ *rig, n int) (string, any) {
		return "/inspections/" + id(n) + "/sign-off", fields{"purpose": "credit", "credit": 1, "currency": "EUR", "staff": fmt.Sprint("nobody-", n), "password": "wrong horse battery"}
	}, ok: http.StatusUnprocessableEntity},
	"POST /inspections/:id/amend": {make: stored("/inspections/ID/amend", soundReading), ok: http.StatusCreated},

	"GET /inspections/:id/photos": {make: stored("/inspections/ID/photos", nil), ok: http.StatusOK},
	"PUT /photos/:sha256": {make: func(r *rig, n int) (string, any) {
		data, sha := shot(r.t, n)
		return strings.TrimPrefix(shown(sha, id(n), storeA), apiRoot), data
	}, ok: http.StatusCreated},
	"GET /photos/:sha256": {make: func(r *rig, n int) (string, any) {
		r.put(n, soundReading)
		data, sha := shot(r.t, n)
		want(r.t, r.upload(shown(sha, id(n), storeA), r.office(), data), http.StatusCreated)
		return "/photos/" + sha, nil
	}, ok: http.StatusOK},

	"GET /pairs":            {make: stored("/pairs", nil), ok: http.StatusOK, list: true, hides: storeA},
	"GET /pairs/:ref (API)": {make: pairOfReading("/pairs/REF"), ok: http.StatusOK},
	"POST /pairs/merge": {make: func(r *rig, n int) (string, any) {
		return "/pairs/merge", fields{
			"from": r.put(n, soundReading)["pair_ref"], "into": r.put(n+500_000, soundReading)["pair_ref"], "reason": "two slips",
		}
	}, ok: http.StatusOK},
	"POST /pairs/split": {make: func(r *rig, n int) (string, any) {
		ref := r.put(n, soundReading)["pair_ref"]
		r.put(n+500_000, soundReading.with(fields{"pair_ref": ref, "km": 400}))
		return "/pairs/split", fields{"pair_ref": ref, "readings": []string{id(n + 500_000)}, "reason": "another pair"}
	}, ok: http.StatusOK},

	"PUT /trade-ins/:id": {make: func(r *rig, n int) (string, any) {
		r.put(n, soundReading)
		return "/trade-ins/" + id(n), tradeIn(id(n))
	}, ok: http.StatusCreated},
	"GET /trade-ins/:id": {make: func(r *rig, n int) (string, any) {
		r.put(n, soundReading)
		want(r.t, r.call("PUT", apiRoot+"/trade-ins/"+id(n), r.office(), tradeIn(id(n))), http.StatusCreated)
		return "/trade-ins/" + id(n), nil
	}, ok: http.StatusOK},
	"PUT /fittings/:id": {make: func(_ *rig, n int) (string, any) { return "/fittings/" + id(n), soundFitting }, ok: http.StatusCreated},
	"GET /fittings/:id": {make: func(r *rig, n int) (string, any) {
		want(r.t, r.call("PUT", apiRoot+"/fittings/"+id(n), r.office(), soundFitting), http.StatusCreated)
		return "/fittings/" + id(n), nil
	}, ok: http.StatusOK},

	"GET /shoe-models": {make: fixed("/shoe-models"), ok: http.StatusOK},
	"GET /shoe-models/:id": {make: func(r *rig, n int) (string, any) {
		r.put(n, soundReading)
		return "/shoe-models/" + r.anyShoe(), nil
	}, ok: http.StatusOK},
	"GET /stores":  {make: fixed("/stores"), ok: http.StatusOK},
	"GET /regions": {make: fixed("/regions"), ok: http.StatusOK},
	"GET /staff":   {make: fixed("/staff"), ok: http.StatusOK, list: true, hides: "at-a"},
	"GET /runners/:code": {make: func(r *rig, n int) (string, any) {
		code := fmt.Sprintf("R-%d", n)
		want(r.t, r.call("PUT", apiRoot+"/runners/"+code, r.office(), fields{"unit": "km"}), http.StatusOK)
		return "/runners/" + code, nil
	}, ok: http.StatusOK},
	"PUT /runners/:code": {make: fixed2("/runners/R-9", fields{"unit": "km"}), ok: http.StatusOK},
	"DELETE /runners/:code": {make: func(r *rig, n int) (string, any) {
		code := fmt.Sprintf("R-%d", n)
		want(r.t, r.call("PUT", apiRoot+"/runners/"+code, r.office(), fields{"unit": "km"}), http.StatusOK)
		return "/runners/" + code, nil
	}, ok: http.StatusOK},

	"GET /export/:kind.csv": {make: stored("/export/inspections.csv", nil), ok: http.StatusOK, list: true, hides: storeA},
}

func fixed2(path string, body any) func(*rig, int) (string, any) {
	return func(*rig, int) (string, any) { return path, body }
}

// draft is a what-if of the rules that hold.
func (r *rig) draft() fields {
	w := r.call("GET", apiRoot+"/rules/current", r.office(), nil)
	want(r.t, w, http.StatusOK)
	return fields{"rules": decoded[map[string]any](r.t, w)}
}

// anyShoe returns the id of a model of the catalogue.
func (r *rig) anyShoe() string {
	w := r.call("GET", apiRoot+"/shoe-models?limit=1", r.office(), nil)
	want(r.t, w, http.StatusOK)
	return decoded[pageOf[fields]](r.t, w).Items[0]["model_id"].(string)
}

// probeOf returns the probe of a route.
func probeOf(t *testing.T, route route) probe {
	t.Helper()
	key := route.method + " " + strings.TrimPrefix(route.path, apiRoot)
	if route.path == apiRoot+"/pairs/:ref" {
		key += " (API)" // the page has the same path below its root
	}
	p, ok := probes[key]
	if !ok {
		p, ok = officeProbes[key]
	}
	if !ok {
		p, ok = fleetProbes[key]
	}
	if !ok {
		t.Fatalf("no probe for %s", key)
	}
	return p
}

// TestRolesReachWhatTheTableSays walks every cell: every route that names a
// right, for every role, with the store, its region, another store and the
// fleet in scope.
func TestRolesReachWhatTheTableSays(t *testing.T) {
	r := newRig(t)
	must(t, r.db.SaveStaff(t.Context(), setup, retail.Staff{Code: "at-a", Role: retail.Fitter, Scopes: []retail.Scope{{Store: storeA}}}))
	scopes := []struct {
		scope  retail.Scope
		covers bool // store A
	}{
		{retail.Scope{Store: storeA}, true},
		{retail.Scope{Region: regionA}, true},
		{retail.Scope{Store: storeB}, false},
		{retail.Scope{Region: regionB}, false},
		{retail.Scope{}, true},
	}
	// Who holds several roles may do in a store what any of those held there may.
	type caller struct {
		name    string
		grants  []retail.Grant
		token   string
		cookie  string
		session bool
	}
	var callers []caller
	for _, role := range retail.Roles {
		for _, sc := range scopes {
			callers = append(callers, caller{name: fmt.Sprintf("a %s of %s", role, sc.scope), grants: retail.Grants(role, sc.scope), token: r.token(role, sc.scope)})
		}
	}
	for code, s := range map[string]retail.Staff{
		"FM-1": {Role: retail.Fitter, Scopes: []retail.Scope{{Store: storeA}}, Also: retail.Grants(retail.Manager, retail.Scope{Store: storeB})},
		"TT-1": {Role: retail.Trainer, Scopes: models.Fleet, Also: retail.Grants(retail.Trainee, retail.Scope{Store: storeA})},
	} {
		s.Code = code
		must(t, r.db.SaveStaff(t.Context(), setup, s))
		must(t, r.db.SetPassword(t.Context(), setup, code, password))
		session := cookie(t, r.post("/sign-in", credentials(code, password, "")), sessionCookie)
		callers = append(callers, caller{name: "somebody who is " + retail.Words(s.Grants()), grants: s.Grants(), cookie: session.String(), session: true})
	}
	n := 0
	for _, route := range r.table {
		if route.right == open || route.right == anyone {
			continue
		}
		probe := probeOf(t, route)
		base := ""
		if strings.HasPrefix(route.path, apiRoot) {
			base = apiRoot
		}
		for _, by := range callers {
			t.Run(fmt.Sprintf("%s %s by %s", route.method, route.path, by.name), func(t *testing.T) {
				n++
				r.t = t
				path, body := probe.make(r, n)
				w := r.call(route.method, base+path, by.token, body, "Cookie", by.cookie)
				allowed, listed := false, false
				for _, g := range by.grants {
					reach := rights[route.right][slices.Index(retail.Roles, g.Role)]
					coversA := false
					for _, sc := range scopes {
						coversA = coversA || sc.scope == g.Scope && sc.covers
					}
					allowed = allowed || map[reachOfCell]bool{
						{never, false}: false, {never, true}: false,
						{own, true}: true, {own, false}: false,
						{anywhere, true}: true, {anywhere, false}: true,
						{fleet, true}: g.Scope == retail.Scope{}, {fleet, false}: false,
					}[reachOfCell{reach, coversA}]
					listed = listed || reach == own
				}
				switch {
				case allowed:
					status := probe.ok
					if route.path == "/" && !by.session && by.grants[0].Role == retail.Trainer {
						status = http.StatusOK // the page that says there is none for the role
					}
					if route.path == "/me" && route.method == http.MethodGet && by.session {
						status = http.StatusOK
					}
					want(t, w, status)
					if probe.list && !strings.Contains(w.Body.String(), probe.hides) {
						t.Errorf("%s isn't shown: %s", probe.hides, w.Body)
					}
				case probe.list && listed:
					want(t, w, http.StatusOK)
					if strings.Contains(w.Body.String(), probe.hides) {
						t.Errorf("%s is shown: %s", probe.hides, w.Body)
					}
				default:
					want(t, w, http.StatusForbidden)
				}
			})
		}
		t.Run(route.method+" "+route.path+" by nobody", func(t *testing.T) {
			n++
			r.t = t
			path, body := probe.make(r, n)
			w := r.call(route.method, base+path, "", body)
			switch {
			case base == apiRoot || strings.HasSuffix(path, ".json"):
				want(t, w, http.StatusUnauthorized)
				pointers(t, w)
			case route.method == http.MethodPost:
				want(t, w, http.StatusUnauthorized)
			default:
				want(t, w, http.StatusSeeOther)
				if !strings.HasPrefix(w.Header().Get("Location"), "/sign-in?next=") {
					t.Errorf("sent to %s", w.Header().Get("Location"))
				}
			}
		})
	}
}

// reachOfCell is a right's reach, and whether the scope holds the store.
type reachOfCell struct {
	reach  reach
	covers bool
}
