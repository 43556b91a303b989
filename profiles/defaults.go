package profiles

import (
	"path/filepath"

	"drumwright/io/point"
)

// fillDefaults fills what a file leaves out and what follows from other keys.
// Fixed defaults come from the tags instead.
func (s *source) fillDefaults(m *Machine) {
	fill(s, "air.min_for_heat", &m.Air.MinForHeat, 0.25*m.Air.Nominal)
	fill(s, "air.warming", &m.Air.WarmFlow, m.Air.Nominal)
	fill(s, "air.run_down", &m.Air.CoolFlow, m.Air.Nominal)
	if n := len(m.Air.Flow); n > 0 {
		fill(s, "air.max", &m.Air.MaxHz, m.Air.Flow[n-1].Hz)
	}
	if len(m.Drum.Schedule) > 0 {
		fill(s, "drum.idle_speed", &m.Drum.IdleSpeed, m.Drum.Schedule[0].Speed)
	}
	air, rad := &m.Heaters.Air, &m.Heaters.Radiant
	fill(s, "heaters.air.element_heat", &air.ElementJPK, JPerK(0.040*air.PowerW))
	fill(s, "heaters.air.element_to_air", &air.ElementWPK, WPerK(0.005*air.PowerW))
	fill(s, "heaters.radiant.panel_heat", &rad.PanelJPK, JPerK(0.9*rad.PowerW))
	fill(s, "heaters.radiant.panel_loss", &rad.PanelWPK, WPerK(0.0005*rad.PowerW))
	fill(s, "bed.drum_loss", &m.Bed.DrumLoss, WPerK(0.0008*m.Bed.DrumHeat))
	fill(s, "bed.max_batch", &m.Bed.MaxBatch, 1.25*m.Bed.NominalBatch)
	fill(s, "bed.min_batch", &m.Bed.MinBatch, 0.4*m.Bed.NominalBatch)

	by := "probe"
	if _, ok := m.Inputs[point.ChargeGateOpen.String()]; ok {
		by = "gate"
	}
	fill(s, "batch.charge_by", &m.Batch.ChargeBy, by)

	folder := filepath.Dir(m.File)
	beside(folder, &m.Telemetry.Journal)
	beside(folder, &m.Access.Socket)
	beside(folder, &m.Access.Certificate)
	beside(folder, &m.Access.Key)
	if q := m.Telemetry.MQTT; q != nil {
		beside(folder, &q.PasswordFile)
		beside(folder, &q.CAFile)
	}
}

func fill[T any](s *source, key string, field *T, value T) {
	if !s.has(key) {
		*field = value
	}
}

func beside(folder string, path *string) {
	if *path != "" && !filepath.IsAbs(*path) {
		*path = filepath.Join(folder, *path)
	}
}
