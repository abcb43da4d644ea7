// Linewright finds and proves microwave interconnect chains. See package cli.
package main

import (
	"os"

	"linewright/app/cli"
)

func main() { os.Exit(cli.Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) }
