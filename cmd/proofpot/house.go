package main

import (
	"errors"
	"io/fs"
	"os"

	"proofpot/analysis/certificate"
	"proofpot/analysis/certificate/units"
	"proofpot/profiles/strict"
)

// house is the letterhead and the units and language of whoever tests.
type house struct {
	House string `help:"File with your letterhead, units and language; without it, house.toml here, where there is one." placeholder:"HOUSE.TOML"`
}

// houseSheet is house.toml.
type houseSheet struct {
	Name     string   `toml:"name"`
	Lines    []string `toml:"lines"`    // address and the like, one a line
	Depth    string   `toml:"depth"`    // m or ft
	Pressure string   `toml:"pressure"` // bar, kPa, psi …
	Language string   `toml:"language"` // en, de
	Paper    string   `toml:"paper"`    // A4, letter
}

// options reads the file into the options of a certificate.
func (h house) options() (certificate.Options, error) {
	opts := certificate.Options{Version: version()}
	file := h.House
	if file == "" {
		file = "house.toml"
	}
	data, err := os.ReadFile(file)
	if h.House == "" && errors.Is(err, fs.ErrNotExist) {
		return opts, nil
	}
	if err != nil {
		return opts, err
	}
	var sheet houseSheet
	if err := strict.Decode(file, data, &sheet); err != nil {
		return opts, err
	}
	for key, system := range map[string]units.System{"depth": {Depth: units.Depth(sheet.Depth)}, "pressure": {Pressure: units.Pressure(sheet.Pressure)}, "language": {Language: units.Language(sheet.Language)}} {
		if _, err := system.Check(); err != nil {
			return opts, strict.At(file, data, key, err.Error())
		}
	}
	if opts.Paper = sheet.Paper; opts.CheckPaper() != nil {
		return opts, strict.At(file, data, "paper", opts.CheckPaper().Error())
	}
	opts.Letterhead, opts.LetterheadLines = sheet.Name, sheet.Lines
	opts.Depth, opts.Pressure, opts.Language = units.Depth(sheet.Depth), units.Pressure(sheet.Pressure), units.Language(sheet.Language)
	return opts, nil
}
