package record

import "time"

// Kinds of commissioning records.
const (
	KindWiring      = "wiring"
	KindCalibration = "calibration"
	KindTrial       = "trial"   // a cold trial of drum speeds
	KindPutOff      = "put off" // the word of a person that an overdue calibration may wait
)

// Commissioned is one finding of commissioning as it was made, or the word that one
// is put off. It is never changed: a later one of the same kind and item counts
// instead.
type Commissioned struct {
	N           uint64    `json:"n"` // number in the journal, rising; 0 before it is kept
	Kind        string    `json:"kind"`
	Item        string    `json:"item"` // what was calibrated; "" for a walk
	Who         string    `json:"who"`
	When        time.Time `json:"when"`
	Method      string    `json:"method"`
	Value       Number    `json:"value"`       // null: no single figure
	Uncertainty Number    `json:"uncertainty"` // covers about 95 %; null: none
	Unit        string    `json:"unit"`
	ValidDays   int       `json:"valid_days"` // from When on; 0 = until something is changed
	Result      string    `json:"result"`     // ProofPass or ProofFail
	Wiring      string    `json:"wiring"`     // hash of the buses and points it was made with
	Body        string    `json:"body"`       // everything seen, JSON
	MachineHash string    `json:"machine_hash"`
	Version     string    `json:"version"`
	Simulated   bool      `json:"simulated"`
}

// Until is when it ceases to count; ok is false if it does not.
func (c *Commissioned) Until() (t time.Time, ok bool) {
	return c.When.AddDate(0, 0, c.ValidDays), c.ValidDays > 0
}

// CommissionStanding is where one thing that commissioning measures stands.
type CommissionStanding struct {
	Item        string     `json:"item"`
	Needed      bool       `json:"needed"` // before beans are heated
	Stands      bool       `json:"stands"` // beans may be heated as far as this goes
	State       string     `json:"state"`
	When        *time.Time `json:"when"` // last looked at; null = never
	Who         string     `json:"who"`
	Uncertainty Number     `json:"uncertainty"` // covers about 95 %; null: none
	Unit        string     `json:"unit"`
	Until       *time.Time `json:"until"`  // ceases to count then; null = it does not, or was never found
	Remark      string     `json:"remark"` // what is odd about it; "" = nothing
	How         string     `json:"how"`    // the command that measures it, and what it asks for
}

// CommissionBook is everything that commissioning measures, in the order in which a
// shop goes through it.
type CommissionBook struct {
	Items    []CommissionStanding `json:"items"`
	Lacks    string               `json:"lacks"`     // why no beans are heated; "" = nothing is lacking
	NotAsked string               `json:"not_asked"` // why beans are heated all the same; "" = they are not
	Next     string               `json:"next"`      // what to do next
}

// Matrix is the cause-and-effect matrix of a machine as a table of texts.
type Matrix struct {
	Columns []string   `json:"columns"`
	Rows    [][]string `json:"rows"` // one of each cause that is watched, as long as Columns
}
