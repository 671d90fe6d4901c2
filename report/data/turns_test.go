package data

import (
	"bytes"
	"encoding/json"
	"testing"

	"coilsweep/report/internal/invented"
)

// What is not known is null with its reason, and the numbers stand under their names.
func TestTurnsJSON(t *testing.T) {
	var b bytes.Buffer
	if err := TurnsJSON(&b, invented.Turns()); err != nil {
		t.Fatal(err)
	}
	type quantity struct {
		Value *float64 `json:"value"`
		Why   string   `json:"why"`
	}
	var got struct {
		Schema, Wanted string
		Options        []struct {
			Wire     string
			Grade    int
			Turns    int
			Needed   quantity            `json:"turns_needed"`
			Peak     quantity            `json:"peak_hz"`
			From     *map[string]float64 `json:"peak_U95_from_hz"`
			OffDB    *float64            `json:"from_wanted_db"`
			Response struct {
				Hz    []float64  `json:"frequency_hz"`
				Level []quantity `json:"level_db"`
			}
		}
		Refused []struct{ Why string }
	}
	if err := json.Unmarshal(b.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	first, second := got.Options[0], got.Options[1]
	switch {
	case got.Schema != "coilsweep.turns/1" || len(got.Options) != 2 || len(got.Refused) != 2:
		t.Errorf("%+v", got)
	case first.Turns != 8123 || first.Grade != 1 || *first.Needed.Value != 8123.4 || (*first.From)["laws"] != 90 ||
		*first.OffDB != 0.4 || len(first.Response.Hz) != len(first.Response.Level) || *first.Response.Level[0].Value > 1:
		t.Errorf("%+v", first)
	case second.Peak.Value != nil || second.Peak.Why == "" || second.From != nil || second.OffDB != nil:
		t.Errorf("%+v", second)
	}
}
