package rehearsal

import (
	"math"

	"drumwright/control/plant"
	"drumwright/io/point"
	"drumwright/io/record"
)

// Batch is what one batch came to, by the record and by the machine's truth.
type Batch struct {
	ID             uint64  `json:"id"`
	TrackingRmsC   float64 `json:"tracking_rms_c"` // probe reading against the curve, from 60 s after the turning point to drop
	TrackingMaxC   float64 `json:"tracking_max_c"`
	TurningPointS  float64 `json:"turning_point_s"`
	TurningPointC  float64 `json:"turning_point_c"`
	FirstCrackS    float64 `json:"first_crack_s"`
	DropS          float64 `json:"drop_s"`
	DropC          float64 `json:"drop_c"`
	DropErrorC     float64 `json:"drop_error_c"`
	LossEstimated  float64 `json:"loss_estimated"`
	LossTrue       float64 `json:"loss_true"`
	BeanErrorRmsC  float64 `json:"bean_error_rms_c"` // estimated against true bean temperature, from 60 s after charge
	InletOvershoot float64 `json:"inlet_overshoot_c"`
	LimitedShare   float64 `json:"limited_share"` // of the time from 60 s after the turn, at an inlet limit
	EnergyKWh      float64 `json:"energy_kwh"`    // both heaters, charge to drop
	Aborted        bool    `json:"aborted"`
}

// inletPeakS is how far back the highest set point counts when the inlet air's
// overshoot is measured: the air may still be on its way down from it.
const inletPeakS = 30

// meter measures batches as they run.
type meter struct {
	on      bool
	b       Batch
	sum2    float64
	n       int
	limited int
	bean2   float64
	beanN   int
	tr      plant.Truth
	energyJ float64
	lastS   float64
	sets    []float64 // set points of the last inletPeakS
}

func (m *meter) truth(t *plant.Truth) { m.tr = *t }

// put takes one record; it returns the batch when it is over.
func (m *meter) put(s *record.Scan) *Batch {
	dt := s.ScanS - m.lastS
	m.lastS = s.ScanS
	if s.Batch.ID != 0 && !m.on && s.Batch.DropS == 0 {
		*m = meter{on: true, lastS: s.ScanS, tr: m.tr}
		m.b.ID = s.Batch.ID
	}
	if !m.on {
		return nil
	}
	m.energyJ += (m.tr.AirHeaterW + m.tr.RadiantW) * dt
	probe := s.Image.In[point.Bean]
	t := s.Batch.SinceS
	inBeans := s.Batch.DropS == 0 && s.Batch.ID != 0
	if inBeans && s.Batch.TurnS > 0 && t >= s.Batch.TurnS+60 && s.Bean.TargetC > 0 && probe.Usable() {
		e := probe.V - s.Bean.TargetC
		m.sum2 += e * e
		m.n++
		m.b.TrackingMaxC = math.Max(m.b.TrackingMaxC, math.Abs(e))
		if s.Bean.LimitedHigh || s.Bean.LimitedLow {
			m.limited++
		}
	}
	if inBeans && t >= 60 && !s.Bean.EstimatorOff && m.tr.BeansKg > 0 {
		e := s.Bean.TrueC - m.tr.BeanC
		m.bean2 += e * e
		m.beanN++
	}
	if inBeans {
		m.sets = append(m.sets, s.Air.SetC)
		if keep := int(inletPeakS / s.Timing.PeriodS); len(m.sets) > keep {
			m.sets = m.sets[len(m.sets)-keep:]
		}
		peak := 0.0
		for _, v := range m.sets {
			peak = math.Max(peak, v)
		}
		if x := s.Image.In[point.InletAir]; x.Usable() {
			m.b.InletOvershoot = math.Max(m.b.InletOvershoot, x.V-peak)
		}
	}
	for i := range s.NumEvents {
		e := &s.Events[i]
		if e.Kind != record.Milestone {
			continue
		}
		switch e.Name {
		case record.MilestoneTurningPoint:
			m.b.TurningPointS, m.b.TurningPointC = s.Batch.TurnS, s.Batch.TurnC
		case record.MilestoneFirstCrack:
			m.b.FirstCrackS = e.Value
		case record.MilestoneDrop:
			m.b.DropS, m.b.DropC = s.Batch.DropS, probe.V
			if s.Batch.TargetDropC > 0 {
				m.b.DropErrorC = m.b.DropC - s.Batch.TargetDropC
			}
			m.b.LossEstimated = s.Batch.LossAtDrop
			m.b.LossTrue = m.tr.TrayLossFrac
			if m.tr.BeansKg > 0 { // on their way out
				m.b.LossTrue = m.tr.LossFrac
			}
			m.b.EnergyKWh = m.energyJ / 3.6e6
			return m.finish()
		case record.MilestoneAborted:
			m.b.Aborted = true
			return m.finish()
		}
	}
	return nil
}

func (m *meter) finish() *Batch {
	if m.n > 0 {
		m.b.TrackingRmsC = math.Sqrt(m.sum2 / float64(m.n))
		m.b.LimitedShare = float64(m.limited) / float64(m.n)
	}
	if m.beanN > 0 {
		m.b.BeanErrorRmsC = math.Sqrt(m.bean2 / float64(m.beanN))
	}
	m.on = false
	b := m.b
	return &b
}
