package campaign

import (
	"reflect"
	"strings"
	"testing"
)

func TestMergeChannels(t *testing.T) {
	has := ChannelMap{"time": {Column: "Zeit", Unit: "ms"}, "lambda": {}}
	merged, err := has.Merge(ChannelMap{"time": {Column: "Zeit", Unit: "ms"}, "drum_speed": {Column: "v", Unit: "km/h"}})
	want := ChannelMap{"time": {Column: "Zeit", Unit: "ms"}, "lambda": {}, "drum_speed": {Column: "v", Unit: "km/h"}}
	if err != nil || !reflect.DeepEqual(merged, want) {
		t.Errorf("merged %v, %v", merged, err)
	}
	if len(has) != 2 {
		t.Errorf("the receiver became %v", has)
	}
	for says, with := range map[string]ChannelMap{
		"time":         {"time": {Column: "Zeit", Unit: "s"}},
		"drum_speed":   {"drum_speed": {Column: "Zeit", Unit: "km/h"}},
		`"lambda"`:     {"afr": {Column: "lambda"}},
		"decimal mark": {"time": {Column: "Zeit", Unit: "ms", DecimalMark: ','}},
	} {
		if merged, err := has.Merge(with); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%v merged to %v, %v; want an error that names %s", with, merged, err, says)
		}
	}
	if merged, err := ChannelMap(nil).Merge(nil); err != nil || merged != nil {
		t.Errorf("nothing and nothing is %v, %v", merged, err)
	}
	if merged, err := ChannelMap(nil).Merge(has); err != nil || !reflect.DeepEqual(merged, has) {
		t.Errorf("nothing and something is %v, %v", merged, err)
	}
}
