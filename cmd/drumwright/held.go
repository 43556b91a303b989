package main

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"

	"drumwright/cmd/drumwright/internal/amend"
	"drumwright/control/drum"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/io/sensor"
	"drumwright/profiles"
)

// finding is what the record of a calibration keeps beside its figure: the readings
// as they were given, and what the machine file must hold for it to count.
type finding struct {
	IceC        []float64   `json:"ice_c,omitempty"`
	BoilC       []float64   `json:"boil_c,omitempty"`
	PressureHPa float64     `json:"pressure_hpa,omitempty"`
	At          []string    `json:"at,omitempty"`
	Turns       []string    `json:"turns,omitempty"`
	Amps        string      `json:"amps,omitempty"`
	Meter       string      `json:"meter,omitempty"`
	Air         string      `json:"air,omitempty"`
	Rise        string      `json:"rise,omitempty"`
	Duty        float64     `json:"duty,omitempty"`
	Volts       string      `json:"volts,omitempty"`
	Found       string      `json:"found"`
	Probe       *probeLine  `json:"probe,omitempty"`
	Flow        []flowPoint `json:"flow,omitempty"`
}

// probeLine is how degrees come of what a module sends: scale × value + offset; of
// a module that gives ohms or millivolts, the same of the sensor's degrees.
type probeLine struct {
	Scale   float64 `json:"scale"`
	OffsetC float64 `json:"offset_c"`
	U20K    float64 `json:"u_20_k"` // uncertainty at 20 °C
	U200K   float64 `json:"u_200_k"`
}

// flowPoint is an air mass flow, kg/h, found at a blower frequency.
type flowPoint struct {
	Hz     float64 `json:"hz"`
	KgPerH float64 `json:"kg_per_h"`
	U      float64 `json:"u"`
}

// lineOf is what the machine file holds of a probe.
func lineOf(m *profiles.Machine, i point.Input) probeLine {
	a := &m.In[i]
	if a.Sensor != sensor.None { // scale and offset are ohms or millivolts there
		return probeLine{Scale: a.Gain, OffsetC: a.ShiftK}
	}
	return probeLine{Scale: a.Scale, OffsetC: a.Offset}
}

// apartK is by how much the file's line reads above the one found, where that one
// shows c degrees.
func (l probeLine) apartK(file probeLine, c float64) float64 {
	return file.Scale*(c-l.OffsetC)/l.Scale + file.OffsetC - c
}

// roundK and roundFrac are what figures lose when they are written into a file.
const roundK, roundFrac = 0.01, 1e-3

// notHeld says in what the machine file differs from what a record has found, by
// more than its uncertainty, and which changes would put that right; "" and none if
// it holds it. A finding that the file does not hold controls nothing.
func notHeld(m *profiles.Machine, c *record.Commissioned) (string, []amend.Edit) {
	if c.Kind == record.KindTrial {
		return scheduleNotHeld(m, c.Body)
	}
	var f finding
	if c.Kind != record.KindCalibration {
		return "", nil
	}
	if err := json.Unmarshal([]byte(c.Body), &f); err != nil {
		return "its record cannot be read: " + err.Error(), nil
	}
	found, u := float64(c.Value), float64(c.Uncertainty)
	scalar := func(file float64, path, value, unit string) (string, []amend.Edit) {
		if math.Abs(file-found) <= u+roundFrac*math.Abs(found) {
			return "", nil
		}
		return fmt.Sprintf("found %.4g %s, the file has %.4g", found, unit, file), []amend.Edit{{Path: path, Value: value}}
	}
	switch c.Item {
	case itemDrum:
		return scalar(m.SkinMMPerSPerHz(), "drum.skin_speed_per_hz", fmt.Sprintf("%.5g mm/s/Hz", found), "mm/s/Hz")
	case itemAir:
		return scalar(float64(m.Heaters.Air.PowerW), "heaters.air.power", fmt.Sprintf("%.4g W", found), "W")
	case itemRadiant:
		return scalar(float64(m.Heaters.Radiant.PowerW), "heaters.radiant.power", fmt.Sprintf("%.4g W", found), "W")
	case itemFlow:
		return flowNotHeld(m, f.Flow)
	}
	i, ok := point.InputNamed(c.Item)
	if !ok || f.Probe == nil || f.Probe.Scale == 0 {
		return "its record does not say what the file must hold: calibrate anew", nil
	}
	return probeNotHeld(m, i, f.Probe)
}

func probeNotHeld(m *profiles.Machine, i point.Input, l *probeLine) (string, []amend.Edit) {
	file := lineOf(m, i)
	at20, at200 := l.apartK(file, 20), l.apartK(file, 200)
	if math.Abs(at20) <= l.U20K+roundK && math.Abs(at200) <= l.U200K+roundK {
		return "", nil
	}
	key := "inputs." + i.String()
	offset := strconv.FormatFloat(math.Round(1000*l.OffsetC)/1000, 'f', -1, 64)
	edits := []amend.Edit{{Path: key + ".scale", Value: figure6(l.Scale)}, {Path: key + ".offset", Value: offset}}
	if m.In[i].Sensor != sensor.None {
		edits = []amend.Edit{{Path: key + ".correction.gain", Value: figure6(l.Scale)}, {Path: key + ".correction.offset", Value: offset + " K"}}
	}
	return fmt.Sprintf("the file reads it %+.2f K wrong at 20 °C and %+.2f K at 200 °C", at20, at200), edits
}

func flowNotHeld(m *profiles.Machine, points []flowPoint) (string, []amend.Edit) {
	if len(points) == 0 {
		return "its record does not say what the file must hold: calibrate anew", nil
	}
	var differs []string
	var lines []string
	for _, p := range points {
		if file := 3600 * m.FlowKgPerS(p.Hz); math.Abs(file-p.KgPerH) > p.U+roundFrac*p.KgPerH {
			differs = append(differs, fmt.Sprintf("found %.4g kg/h at %.4g Hz, the file has %.4g", p.KgPerH, p.Hz, file))
		}
		lines = append(lines, fmt.Sprintf("- {blower: %.4g Hz, flow: %.4g kg/h}", p.Hz, p.KgPerH))
	}
	if len(differs) == 0 {
		return "", nil
	}
	return strings.Join(differs, "; "), []amend.Edit{{Path: "air.flow", Lines: lines}}
}

// trialGoodTo is how far a cold trial can be off, as a share of the speed (common
// practice, no source): who moves the schedule by less has not left it.
const trialGoodTo = 0.05

func scheduleNotHeld(m *profiles.Machine, body string) (string, []amend.Edit) {
	var f struct{ Schedule []trialSchedule }
	if err := json.Unmarshal([]byte(body), &f); err != nil {
		return "its record cannot be read: " + err.Error(), nil
	}
	points := make([]drum.Point, len(m.Drum.Schedule))
	for i, p := range m.Drum.Schedule {
		points[i] = drum.Point{LossFrac: float64(p.Loss), SkinMMS: float64(p.Speed)}
	}
	file, err := drum.NewSchedule(points)
	if err != nil {
		return err.Error(), nil
	}
	var differs []string
	for _, p := range f.Schedule {
		var loss, speed float64
		if _, err := fmt.Sscanf(p.Loss+" "+p.Speed, "%g %% %g mm/s", &loss, &speed); err != nil {
			return fmt.Sprintf("its record has %q at %q, which is no speed at a loss", p.Speed, p.Loss), nil
		}
		if has := file.SkinMMS(loss / 100); math.Abs(has-speed) > trialGoodTo*speed {
			differs = append(differs, fmt.Sprintf("found %s at %s, the file has %.0f mm/s", p.Speed, p.Loss, has))
		}
	}
	if len(differs) == 0 {
		return "", nil
	}
	return strings.Join(differs, "; "), []amend.Edit{scheduleEdit(f.Schedule)}
}

func scheduleEdit(s []trialSchedule) amend.Edit {
	e := amend.Edit{Path: "drum.schedule"}
	for _, p := range s {
		e.Lines = append(e.Lines, fmt.Sprintf("- {loss: %s, speed: %s}", p.Loss, p.Speed))
	}
	return e
}
