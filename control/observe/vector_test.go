package observe

import (
	"math"
	"testing"
)

func close9(t *testing.T, step int, name string, got, want float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > 1e-9*math.Abs(want) {
		t.Errorf("step %d: %s = %.17g, want %.17g", step, name, got, want)
	}
}

// largeMachine is the 1 kg machine of the check vector.
func largeMachine() Params {
	p := DefaultParams()
	p.HAGbWPerK, p.HADbWPerK, p.HAGdWPerK, p.G0KgPerS = 11.8, 1.51, 2.5, 0.011
	p.BatchKg = 1
	return p
}

// midRoast is a filter past immersion in the state of the check vector.
func midRoast(t testing.TB) *Filter {
	t.Helper()
	f := new(Filter)
	if err := f.Start(largeMachine(), 25, true, 115); err != nil {
		t.Fatal(err)
	}
	f.x = vector{120, 115, 0.122, 0.9999, 3.0, 0.1, -0.05, 0.001, f.p.MoistureDB}
	f.cov = matrix{}
	for i, sd := range []float64{1, 0.2, 0.01, 1e-4, 0.3, 0.1, 0.1, 0.01, 0.0145} {
		f.cov[i][i] = sd * sd
	}
	f.cov[iMoisture][iStart], f.cov[iStart][iMoisture] = 1.4e-4, 1.4e-4
	f.elapsedSteps = 1000
	return f
}

// The figures were computed independently (Python, double precision, full
// matrices) from the equations of the filter; a second program agreed to 1e-14.
func TestFiveSteps(t *testing.T) {
	f := midRoast(t)
	nan := math.NaN()
	for i, c := range []struct {
		in, skin, y float64
		x           vector
		rate, out   float64
		p           [7]float64 // P00 P11 P01 P05 P06 P55 P66
		loss        float64
	}{
		{250.0, 205.0, 115.1, vector{120.04447075107738, 115.0724951046664, 0.12199616871360244, 0.9998998169918528, 3.004819247739454,
			0.09968449277698196, -0.050147627227973134, 0.0010000149099786057, 0.12359550561797752},
			0.41287314611094295, 165.18159935246385,
			[7]float64{9.984990603653316e-01, 1.535313191942888e-02, 1.1165354843428131e-03, 1.2807720436434462e-05,
				2.833848546614911e-04, 9.998830639561716e-03, 9.999747093134177e-03}, 1.523450251560976e-03},
		{250.2, 205.0, 115.2, vector{120.09557736854339, 115.13868741790526, 0.12199221637603602, 0.9998996331137012, 3.0096488457688984,
			0.0987122616495646, -0.05060166675409936, 0.0010001320654334375, 0.12359535672805042},
			0.41304247165012853, 165.2779439058521,
			[7]float64{9.967542703518084e-01, 9.492582436990655e-03, 2.47925375463452e-03, 5.209579856984793e-05,
				5.790891094605599e-04, 9.995031405444811e-03, 9.998921684634621e-03}, 1.527018785677292e-03},
		{250.4, 205.1, 115.2, vector{120.14195713464163, 115.17633873418909, 0.12198825160639071, 0.9998994485686934, 3.014486365855405,
			0.098209652904739, -0.050835774440726456, 0.0010002277747621696, 0.12359520616704066},
			0.41320594281151474, 165.39950454023082,
			[7]float64{9.946018752574116e-01, 6.881553106500331e-03, 3.874025025782343e-03, 1.3428414219603905e-04,
				8.947523828992433e-04, 9.986956079069017e-03, 9.997173000156817e-03}, 1.5305975638012503e-03},
		{250.6, 205.1, nan, vector{120.18329088520532, 115.2050606403948, 0.12198438691078033, 0.9998992635797298, 3.0193291537591,
			0.098209652904739, -0.050835774440726456, 0.0010002277747621696, 0.12359520616704066},
			0.4133375056369476, 165.50096108422815,
			[7]float64{9.933038761268737e-01, 6.917678777886743e-03, 6.721818093007338e-03, 1.3401861325826575e-04,
				1.1719626056621024e-03, 9.987056079069016e-03, 9.997198000156818e-03}, 1.5342215222144517e-03},
		{250.8, 205.2, 115.6, vector{120.33394753068646, 115.31384549403666, 0.12197596635524405, 0.9998990700080986, 3.0242732439004985,
			0.08728876132785013, -0.05588524253718229, 0.0010036914717963632, 0.12358902958327736},
			0.41369378449954414, 165.59617155406082,
			[7]float64{9.891788544278716e-01, 5.462633649560698e-03, 7.461652110765649e-03, 4.1852188902497363e-04,
				1.5809224294076787e-03, 9.958699608555060e-03, 9.991139463806425e-03}, 1.5364196407928743e-03},
	} {
		f.Predict(c.in, c.skin, 0.011)
		f.Update(c.y)
		e := f.Estimate()
		for k, want := range c.x {
			close9(t, i+1, [...]string{"T_b", "T_p", "X", "S", "He", "ln tau", "ln heat", "d", "X0"}[k], f.x[k], want)
		}
		close9(t, i+1, "rate", e.RateKPerS, c.rate)
		close9(t, i+1, "outlet", e.OutletC, c.out)
		close9(t, i+1, "loss", e.LossFraction, c.loss)
		for k, ij := range [7][2]int{{0, 0}, {1, 1}, {0, 1}, {0, 5}, {0, 6}, {5, 5}, {6, 6}} {
			close9(t, i+1, "P", f.Covariance()[ij[0]][ij[1]], c.p[k])
		}
	}
}

func BenchmarkPredictUpdate(b *testing.B) {
	f := midRoast(b)
	b.ReportAllocs()
	for b.Loop() {
		f.Predict(250, 205, 0.011)
		f.Update(115.2)
		if e := f.Estimate(); e.BeanC < 0 {
			b.Fatal(e)
		}
	}
}
