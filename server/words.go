package main

import (
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"polewise/server/store"
)

// flagWords says what is wrong with a flag, and what was expected.
func flagWords(c *cobra.Command, err error) error {
	said := err
	var value *pflag.InvalidValueError
	var needs *pflag.ValueRequiredError
	var unknown *pflag.NotExistError
	switch {
	case errors.As(err, &value):
		said = fmt.Errorf("--%s %q: expected %s", value.GetFlag().Name, value.GetValue(), kindOf(value.GetFlag()))
	case errors.As(err, &needs):
		said = fmt.Errorf("--%s: expected %s after it, found nothing", needs.GetFlag().Name, kindOf(needs.GetFlag()))
	case errors.As(err, &unknown) && unknown.GetSpecifiedShortnames() == "":
		said = fmt.Errorf("unknown flag: there is no --%s", unknown.GetSpecifiedName())
	}
	return usage(fmt.Errorf("%w. See %s --help", said, c.CommandPath()))
}

// kindOf says what a flag takes.
func kindOf(f *pflag.Flag) string {
	switch f.Value.Type() {
	case "float64":
		return "a number, with a point as in 2.5"
	case "int":
		return "a whole number"
	case "uint64":
		return "a whole number of 0 or more"
	case "duration":
		return "a time, as in 30s or 2m"
	case "bool":
		return "true or false, or nothing at all"
	}
	name, _ := pflag.UnquoteUsage(f)
	return name
}

// cannotRead says why a file cannot be read. What names what it should be.
func cannotRead(what, name string, err error) error {
	at, statErr := os.Stat(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("%s: there is no such file. Look at its name, and at the folder you are in", name)
	case statErr == nil && at.IsDir():
		return fmt.Errorf("%s: expected %s, found a folder. Name the file in it", name, what)
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("%s: you are not allowed to read this file. Change its permissions, or copy it to where you may", name)
	}
	return fmt.Errorf("%s: %s cannot be read: %w", name, what, err)
}

// dataWords says what to do about a data folder that cannot be used.
func dataWords(err error) error {
	if remedy := store.Remedy(err); remedy != "" {
		return fmt.Errorf("%w. %s Or name another data folder with --data", err, remedy)
	}
	if strings.Contains(err.Error(), ". ") { // it names a remedy already
		return fmt.Errorf("%w. Or name another data folder with --data", err)
	}
	return fmt.Errorf("%w. Name another data folder with --data", err)
}

// listenWords says why nothing can listen at an address.
func listenWords(address, flag string, err error) error {
	host, port, splitErr := net.SplitHostPort(address)
	n, numberErr := strconv.Atoi(port)
	switch {
	case splitErr != nil:
		return fmt.Errorf("%s %q: expected HOST:PORT, as in 127.0.0.1:8770", flag, address)
	case numberErr != nil || n < 0 || n > 65535:
		return fmt.Errorf("%s %q: expected a port from 1 to 65535 behind the colon, found %q", flag, address, port)
	case strings.Contains(err.Error(), "in use"):
		return fmt.Errorf("cannot listen on %s: the port is taken. Is polewise running already? Choose another port with %s HOST:PORT", address, flag)
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("cannot listen on %s: not allowed. Choose a port above 1023 with %s HOST:PORT", address, flag)
	}
	return fmt.Errorf("cannot listen on %s: %w. Is %s an address of this computer? Choose another with %s HOST:PORT", address, err, host, flag)
}
