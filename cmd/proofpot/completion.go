package main

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/alecthomas/kong"

	"proofpot/cmd/proofpot/manual"
)

type completionCmd struct {
	Shell string `arg:"" enum:"bash,zsh,fish" help:"Whose: bash, zsh or fish."`
}

// Help is shown by proofpot completion --help.
func (completionCmd) Help() string {
	return `Prints what a shell reads to complete verbs and flags. bash: put "source <(proofpot completion bash)" into ~/.bashrc; zsh:
write it to a file _proofpot in a folder of $fpath; fish: to ~/.config/fish/completions/proofpot.fish.

Example: proofpot completion bash`
}

// Run prints the completions.
func (c *completionCmd) Run(w *world, k *kong.Kong) error {
	_, err := fmt.Fprint(w.out, manual.Completion(k.Model.Node, c.Shell))
	return err
}

type manCmd struct {
	To string `help:"Write a page for each verb into this folder." placeholder:"DIR"`
}

// Help is shown by proofpot man --help.
func (manCmd) Help() string {
	return `Prints the man page of proofpot, or with --to writes it and one for each verb.

Example: proofpot man --to man1`
}

// Run prints or writes the pages.
func (c *manCmd) Run(w *world, k *kong.Kong) error {
	pages := manual.Pages(k.Model.Node, "proofpot "+version())
	if c.To == "" {
		_, err := fmt.Fprint(w.out, pages[0].Text)
		return err
	}
	if err := os.MkdirAll(c.To, 0o777); err != nil {
		return err
	}
	for _, p := range pages {
		if err := os.WriteFile(filepath.Join(c.To, p.Name), []byte(p.Text), 0o666); err != nil {
			return err
		}
	}
	fmt.Fprintf(w.out, "%d pages in %s\n", len(pages), c.To)
	return nil
}
