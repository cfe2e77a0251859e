// Command growdemo writes the files of the demo farm:
//
//	go generate ripetide/forecast/simfarm/growdemo
//
// Its argument is the folder testdata. It reads the weather that is built in
// and uses neither clock nor network: the same program writes the same bytes.
package main

//go:generate go run . ../../../testdata

import (
	"fmt"
	"os"
	"path/filepath"

	"ripetide/forecast/simfarm/demofarm"
	"ripetide/testdata"
)

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "growdemo:", err)
		os.Exit(1)
	}
}

func run(args []string) error {
	if len(args) != 1 {
		return fmt.Errorf("want one argument, the folder to write to, got %d", len(args))
	}
	days, err := testdata.AnnArbor()
	if err != nil {
		return err
	}
	demo, err := demofarm.Grow(days)
	if err != nil {
		return err
	}
	files, err := demo.Files()
	if err != nil {
		return err
	}
	for name, b := range files {
		if err := os.WriteFile(filepath.Join(args[0], filepath.FromSlash(name)), b, 0o644); err != nil {
			return err
		}
	}
	return nil
}
