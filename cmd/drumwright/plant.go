package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"drumwright/control"
	"drumwright/control/plant"
	"drumwright/control/plant/registers"
)

func plantCommand() *cobra.Command {
	var o struct {
		seed    uint64
		scale   float64
		anyPort bool
		warmC   float64
	}
	c := &cobra.Command{
		Use:   "plant MACHINE",
		Short: "Simulate a machine on Modbus, in the registers of its machine file",
		Long: `plant simulates the machine that a machine file describes and answers Modbus
masters on the addresses in that file, in real or scaled time. MACHINE is a file
or the name of a shipped machine (heron-1000, lark-300).

It takes an operator's actions as lines on standard input:
  charge 1000 11     open the gate and charge 1000 g of 11 % moisture
  drop               open the discharge door
  empty              empty the cooling tray
  reset              press the reset button for a second
  touch POINT VALUE  make an input show a value, as one does who warms a probe, puts
                     it in ice, presses a switch or turns the shaft by hand: touch
                     bean 0, touch bean by 9, touch cover_closed 0, touch drum_pulses
                     by 6; release POINT ends it
  fault NAME         inject a fault; clear NAME takes it back; faults lists them
  truth              one line of JSON: heat, contactor, drum and beans as they are`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			m, err := machineFrom(args[0])
			if err != nil {
				return err
			}
			if !(o.scale >= 1 && o.scale <= 60) {
				return exitError{codeInput, fmt.Errorf("time scale %v: allowed is 1 to 60", o.scale)}
			}
			machine, err := plant.New(registers.ParamsFor(m), o.seed)
			if err != nil {
				return err
			}
			if o.warmC != 0 {
				if !(o.warmC > 60 && o.warmC <= 250) {
					return exitError{codeInput, fmt.Errorf("warm %v °C: allowed is above 60 to 250", o.warmC)}
				}
				machine.WarmStart(warmAt(o.warmC))
			}
			s, err := registers.New(m, machine)
			if err != nil {
				return err
			}
			if err := s.Listen(o.anyPort); err != nil {
				return err
			}
			defer s.Close()
			for _, address := range s.Addresses() {
				fmt.Fprintln(cmd.OutOrStdout(), address)
			}
			w := &witness{}
			go readActions(cmd.InOrStdin(), cmd.OutOrStdout(), s, w)
			return runPlant(cmd.Context(), s, o.scale, w)
		},
	}
	f := c.Flags()
	f.Uint64Var(&o.seed, "seed", 1, "seed of the noise")
	f.Float64Var(&o.scale, "time-scale", 1, "how much faster than life, 1 to 60")
	f.Float64Var(&o.warmC, "warm", 0, "begin as after warming, with the drum skin at so many °C; 0 = cold")
	f.BoolVar(&o.anyPort, "any-port", false, "use free loopback ports instead of the file's addresses")
	return c
}

// plantStepS is the simulated time between two looks at the registers.
const plantStepS = 0.05

// runPlant moves the machine in time with the clock until the context ends.
func runPlant(ctx context.Context, s *registers.Server, scale float64, w *witness) error {
	clock := control.NewWallClock(plantStepS, scale)
	for {
		slot, err := clock.Next(ctx)
		if errors.Is(err, context.Canceled) {
			return nil
		}
		if err != nil {
			return err
		}
		missed := min(slot.Missed, int(time.Second.Seconds()/plantStepS*60))
		for range 1 + missed {
			if err := s.Advance(plantStepS); err != nil {
				return err
			}
			w.look(s)
		}
	}
}

// warmAt is a machine that has been kept warm for a while; air and exhaust lie
// to the skin about as they do before a charge.
func warmAt(skinC float64) plant.Warm {
	return plant.Warm{SkinC: skinC, InletC: skinC + 18, ExhaustC: skinC - 5, RadiantW: 250}
}
