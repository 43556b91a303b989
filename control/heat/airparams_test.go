package heat

import (
	"math"
	"strings"
	"testing"

	"drumwright/control/pid"
)

// Gains from the SIMC rule for both machines over the flow, computed
// independently (Python) with one specific heat of air; ours varies with
// temperature, hence 1 %.
func TestAirTuningOverFlow(t *testing.T) {
	for _, tc := range []struct {
		p            AirLoopParams
		share        float64
		kc, tiS, tdS float64
	}{
		{p: smallAir, share: 0.6, kc: 7.96, tiS: 21.3, tdS: 5.67},
		{p: smallAir, share: 0.8, kc: 9.40, tiS: 16.6, tdS: 5.25},
		{p: smallAir, share: 1.0, kc: 10.58, tiS: 13.7, tdS: 5.00},
		{p: smallAir, share: 1.2, kc: 11.58, tiS: 11.8, tdS: 4.83},
		{p: smallAir, share: 1.4, kc: 12.46, tiS: 10.4, tdS: 4.71},
		{p: largeAir, share: 0.6, kc: 31.3, tiS: 24.3, tdS: 5.67},
		{p: largeAir, share: 0.8, kc: 36.9, tiS: 20.7, tdS: 5.25},
		{p: largeAir, share: 1.0, kc: 41.4, tiS: 17.1, tdS: 5.00},
		{p: largeAir, share: 1.2, kc: 45.2, tiS: 14.6, tdS: 4.83},
		{p: largeAir, share: 1.4, kc: 48.6, tiS: 12.9, tdS: 4.71},
	} {
		s := tc.p.Tuning(tc.share*tc.p.NominalFlowKgPerS, 200)
		if math.Abs(s.Kc/tc.kc-1) > 0.01 || math.Abs(s.TiS/tc.tiS-1) > 0.01 || math.Abs(s.TdS/tc.tdS-1) > 0.01 {
			t.Errorf("flow share %g: got %+v, want %g W/K, %g s, %g s", tc.share, s, tc.kc, tc.tiS, tc.tdS)
		}
	}
}

func TestAirExplicitGainsHoldAtNominalFlow(t *testing.T) {
	p := smallAir
	p.GainWPerK, p.IntegralS, p.DerivativeS = 6, 25, 3
	if s := p.Tuning(p.NominalFlowKgPerS, 200); math.Abs(s.Kc-6)+math.Abs(s.TiS-25)+math.Abs(s.TdS-3) > 1e-9 {
		t.Errorf("at nominal flow %+v, want 6, 25, 3", s)
	}
	rule, own := smallAir.Tuning(0.6*p.NominalFlowKgPerS, 200), p.Tuning(0.6*p.NominalFlowKgPerS, 200)
	nominal := smallAir.Tuning(p.NominalFlowKgPerS, 200)
	if math.Abs(own.Kc/6-rule.Kc/nominal.Kc) > 1e-9 {
		t.Errorf("at 0.6 flow the gain is %g, want it scheduled like the rule's %g of %g", own.Kc, rule.Kc, nominal.Kc)
	}
}

// Gains at flows hold there, follow the rule beyond them, and lie between their
// neighbours' shares of the rule in between.
func TestAirGainsAtFlow(t *testing.T) {
	p := smallAir
	n := p.NominalFlowKgPerS
	rule := func(share float64) pid.Series { return smallAir.Tuning(share*n, 200) }
	p.AtFlow = []AirGains{{0.6 * n, 0.5 * rule(0.6).Kc, 2 * rule(0.6).TiS, rule(0.6).TdS}, {1.2 * n, 1.5 * rule(1.2).Kc, rule(1.2).TiS, 0}}
	for _, tc := range []struct{ share, kc, ti, td float64 }{
		{0.4, 0.5, 2, 1}, {0.6, 0.5, 2, 1}, {0.9, 1, 1.5, 0.5}, {1.2, 1.5, 1, 0}, {1.5, 1.5, 1, 0},
	} {
		s, r := p.Tuning(tc.share*n, 200), rule(tc.share)
		if math.Abs(s.Kc-tc.kc*r.Kc)+math.Abs(s.TiS-tc.ti*r.TiS)+math.Abs(s.TdS-tc.td*r.TdS) > 1e-9 {
			t.Errorf("flow share %g: %+v of a rule of %+v, want shares %g, %g, %g", tc.share, s, r, tc.kc, tc.ti, tc.td)
		}
	}
	if err := p.Validate(); err != nil {
		t.Error(err)
	}
	p.AtFlow[1].FlowKgPerS = p.AtFlow[0].FlowKgPerS
	if p.Validate() == nil {
		t.Error("flows that do not rise are taken")
	}
}

func TestAirPreviewIsReferenceLagAndDuct(t *testing.T) {
	if got := smallAir.PreviewS(); got != 6 {
		t.Errorf("preview %g s, want 4 s of reference lag and 2 s of duct", got)
	}
}

func TestParamsRefuseWhatCannotWork(t *testing.T) {
	for name, edit := range map[string]func(*AirLoopParams){
		"PeriodS":           func(p *AirLoopParams) { p.PeriodS = 0 },
		"MaxPowerW":         func(p *AirLoopParams) { p.MaxPowerW = math.NaN() },
		"ElementHeatJPerK":  func(p *AirLoopParams) { p.ElementHeatJPerK = 0 },
		"ElementHAWPerK":    func(p *AirLoopParams) { p.ElementHAWPerK = -6 },
		"NominalFlowKgPerS": func(p *AirLoopParams) { p.NominalFlowKgPerS = 35 },
		"DuctLagS":          func(p *AirLoopParams) { p.DuctLagS = -1 },
		"ProbeTauS":         func(p *AirLoopParams) { p.ProbeTauS = 0 },
		"Efficiency":        func(p *AirLoopParams) { p.Efficiency = 95 },
		"ReferenceLagS":     func(p *AirLoopParams) { p.ReferenceLagS = 0.01 },
		"MinFlowShare":      func(p *AirLoopParams) { p.MinFlowShare = 25 },
		"GainWPerK":         func(p *AirLoopParams) { p.GainWPerK = -1 },
	} {
		p := smallAir
		edit(&p)
		if _, err := NewAirLoop(p); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("air loop: got %v, want an error naming %s", err, name)
		}
	}
	for name, edit := range map[string]func(*BaseLoopParams){
		"PeriodS":          func(p *BaseLoopParams) { p.PeriodS = -1 },
		"MaxPowerW":        func(p *BaseLoopParams) { p.MaxPowerW = 0 },
		"DrumHeatJPerK":    func(p *BaseLoopParams) { p.DrumHeatJPerK = 0 },
		"DrumLossWPerK":    func(p *BaseLoopParams) { p.DrumLossWPerK = 0 },
		"GasExchangeWPerK": func(p *BaseLoopParams) { p.GasExchangeWPerK = math.Inf(1) },
		"PanelHeatJPerK":   func(p *BaseLoopParams) { p.PanelHeatJPerK = 0 },
		"PanelAreaM2":      func(p *BaseLoopParams) { p.PanelAreaM2 = 200 },
		"PanelEmissivity":  func(p *BaseLoopParams) { p.PanelEmissivity = 1.1 },
		"SlewKPerS":        func(p *BaseLoopParams) { p.SlewKPerS = 150 },
		"DelayS":           func(p *BaseLoopParams) { p.DelayS = -5 },
	} {
		p := smallBase
		edit(&p)
		if _, err := NewBaseLoop(p); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("base loop: got %v, want an error naming %s", err, name)
		}
	}
}
