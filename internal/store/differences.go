package store

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"slices"

	"fairpull/campaign"
	"fairpull/evidence"
)

// Difference is one place where two versions say different things.
type Difference struct {
	// Path is the place: "title", "vehicle.MassWithRider", "configuration B.Settings",
	// "pull 3.Weather.Pressure", "pull 3 log", "campaign.toml". Values are SI.
	Path string
	// From and To are the values as JSON, cut at 200 bytes, or the digests of
	// files; empty: not there.
	From, To string
}

// contents is a record with its files as digests.
type contents struct {
	campaign  campaign.Campaign
	logs      map[string]evidence.Digest // by path
	originals map[string]evidence.Digest // by name
}

// Names of the original files, as docs/formats.md has them.
const (
	campaignFile = "campaign.toml"
	pullsFile    = "pulls.csv"
)

// differences lists where to differs from from, in the order of a folder. A
// pull's line in pulls.csv is no difference. An original that to does not give
// is none either, nor is one that from lacks: the file says the same then.
func differences(from, to contents) []Difference {
	var list []Difference
	list = compare(list, "", head(&from.campaign), head(&to.campaign))
	list = compare(list, "vehicle", from.campaign.Vehicle, to.campaign.Vehicle)
	list = compare(list, "dyno", from.campaign.Dyno, to.campaign.Dyno)
	list = each(list, "configuration", from.campaign.Configurations, to.campaign.Configurations,
		func(c campaign.Configuration) string { return c.ID }, compare[campaign.Configuration])
	list = each(list, "pull", from.campaign.Pulls, to.campaign.Pulls,
		func(p campaign.Pull) string { return p.Name },
		func(list []Difference, path string, a, b campaign.Pull) []Difference {
			a.Line, b.Line = 0, 0
			list = compare(list, path, a, b)
			if x, y := from.logs[a.Log], to.logs[b.Log]; x != y {
				list = append(list, Difference{path + " log", x.String(), y.String()})
			}
			return list
		})
	for _, name := range []string{campaignFile, pullsFile} {
		a, b := from.originals[name], to.originals[name]
		if a != b && !a.IsZero() && !b.IsZero() {
			list = append(list, Difference{name, a.String(), b.String()})
		}
	}
	return list
}

// each compares two lists by key: what left, what came, what differs, the order.
func each[T any](list []Difference, what string, from, to []T, key func(T) string,
	compare func([]Difference, string, T, T) []Difference) []Difference {
	index := func(values []T) (map[string]T, []string) {
		byKey, keys := map[string]T{}, []string{}
		for _, v := range values {
			byKey[key(v)] = v
			keys = append(keys, key(v))
		}
		return byKey, keys
	}
	old, oldKeys := index(from)
	now, nowKeys := index(to)
	for _, k := range oldKeys {
		if _, stays := now[k]; !stays {
			list = append(list, Difference{Path: what + " " + k, From: text(old[k])})
		}
	}
	for _, k := range nowKeys {
		before, was := old[k]
		if was {
			list = compare(list, what+" "+k, before, now[k])
		} else {
			list = append(list, Difference{Path: what + " " + k, To: text(now[k])})
		}
	}
	gone := func(k string) bool { _, stays := now[k]; return !stays }
	came := func(k string) bool { _, was := old[k]; return !was }
	stayed := slices.DeleteFunc(slices.Clone(oldKeys), gone)
	if order := slices.DeleteFunc(slices.Clone(nowKeys), came); !slices.Equal(stayed, order) {
		list = append(list, Difference{"order of each " + what, text(stayed), text(order)})
	}
	return list
}

// compare lists where two values of one type differ, member by member.
func compare[T any](list []Difference, path string, from, to T) []Difference {
	a, b := encode(from), encode(to)
	if bytes.Equal(a, b) {
		return list
	}
	return walk(list, path, decode(a), decode(b))
}

func walk(list []Difference, path string, a, b any) []Difference {
	x, isMap := a.(map[string]any)
	y, both := b.(map[string]any)
	if !isMap || !both {
		if from, to := text(a), text(b); from != to || !bytes.Equal(encode(a), encode(b)) {
			return append(list, Difference{path, from, to})
		}
		return list
	}
	keys := slices.Collect(maps.Keys(x))
	for k := range y {
		if _, in := x[k]; !in {
			keys = append(keys, k)
		}
	}
	slices.Sort(keys)
	for _, k := range keys {
		place := k
		if path != "" {
			place = path + "." + k
		}
		list = walk(list, place, member(x, k), member(y, k))
	}
	return list
}

// absent is a member that is not there, other than one that is null.
type absent struct{}

func member(m map[string]any, k string) any {
	if v, in := m[k]; in {
		return v
	}
	return absent{}
}

// encode returns the JSON of a value that is stored, or about to be: write has
// shown that it has one.
func encode(v any) []byte {
	data, err := json.Marshal(v)
	if err != nil {
		return fmt.Append(nil, err)
	}
	return data
}

// decode returns objects as maps and numbers as they are written.
func decode(data []byte) any {
	decoder := json.NewDecoder(bytes.NewReader(data))
	decoder.UseNumber()
	var v any
	if err := decoder.Decode(&v); err != nil {
		return string(data)
	}
	return v
}

// shown is the longest value of a difference, in bytes.
const shown = 200

func text(v any) string {
	if _, none := v.(absent); none {
		return ""
	}
	data := encode(v)
	if len(data) > shown {
		data = append(bytes.ToValidUTF8(data[:shown], nil), "…"...)
	}
	return string(data)
}
