package main

import "github.com/spf13/cobra"

func (a *app) checkCommand() *cobra.Command {
	return &cobra.Command{Use: "check PLAN", Args: one("PLAN"), RunE: func(*cobra.Command, []string) error { return nil }}
}
func (a *app) ruleCommand() *cobra.Command {
	return &cobra.Command{Use: "rule RULE", Args: one("RULE"), RunE: func(*cobra.Command, []string) error { return nil }}
}
func (a *app) demoCommand() *cobra.Command {
	return &cobra.Command{Use: "demo", RunE: func(*cobra.Command, []string) error { return nil }}
}
