// Command drumwright is the controller of a rebuilt drum coffee roaster.
package main

import (
	_ "github.com/eclipse/paho.mqtt.golang"
	_ "github.com/goburrow/modbus"
	_ "github.com/invopop/jsonschema"
	_ "github.com/ncruces/go-sqlite3"
	_ "github.com/ncruces/go-sqlite3/driver"
	_ "github.com/prometheus/client_golang/prometheus"
	_ "github.com/prometheus/client_golang/prometheus/collectors"
	_ "github.com/prometheus/client_golang/prometheus/promhttp"
	_ "github.com/prometheus/client_golang/prometheus/testutil"
	_ "github.com/rogpeppe/go-internal/testscript"
	_ "github.com/simonvetter/modbus"
	_ "github.com/spf13/cobra"
	_ "go.bug.st/serial"
	_ "golang.org/x/sync/errgroup"
	_ "golang.org/x/sys/unix"
	_ "gopkg.in/yaml.v3"
	_ "pgregory.net/rapid"
)

func main() {}
