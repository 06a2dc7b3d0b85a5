package main

import "github.com/spf13/cobra"

func newDemo(a *app) *cobra.Command { return &cobra.Command{Use: "demo"} }
