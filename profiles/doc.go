// Package profiles reads the files a shop writes: the description of its machine,
// maps of the devices in it, and its recipes.
//
// A machine is only YAML; no machine has Go code of its own. Reading is strict:
// unknown and duplicate keys, wrong types and units, values out of range,
// second documents and impossible combinations are refused, all of them in one
// pass, each with file and line, what was found and what is allowed. Every
// quantity is written with its unit.
//
// What Load returns has been checked and can be used without further
// questions. The package opens files only in Load; it has no clock and no
// goroutine, and what it returns is not changed afterwards.
package profiles
