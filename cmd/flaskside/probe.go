package main

import "flaskside/logbook/probe"

// parseProbes reads the probes of the command line.
func (o *options) parseProbes() ([]probe.Probe, error) {
	var out []probe.Probe
	for _, text := range o.probes {
		p, err := probe.Parse(text)
		if err != nil {
			return nil, wrongUsage("--probe %v", err)
		}
		out = append(out, p)
	}
	return out, nil
}
