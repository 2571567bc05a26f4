package web

import (
	_ "embed"
	"strings"
)

// zoneList names the time zones to choose from, one a line: those of the places in zone.tab of the IANA
// time zone database, and UTC.
//
//go:embed zones.txt
var zoneList string

// zoneGroup are the time zones of one part of the world.
type zoneGroup struct {
	Area  string
	Zones []string
}

// zoneGroups returns the time zones to choose from, with also among them when it is none of these.
func zoneGroups(also string) []zoneGroup {
	var groups []zoneGroup
	add := func(zone string) {
		area, _, ok := strings.Cut(zone, "/")
		if !ok {
			area = "Other"
		}
		if n := len(groups); n > 0 && groups[n-1].Area == area {
			groups[n-1].Zones = append(groups[n-1].Zones, zone)
			return
		}
		groups = append(groups, zoneGroup{area, []string{zone}})
	}
	found := also == ""
	for zone := range strings.Lines(zoneList) {
		zone = strings.TrimSpace(zone)
		found = found || zone == also
		add(zone)
	}
	if !found {
		groups = append([]zoneGroup{{"Typed", []string{also}}}, groups...)
	}
	return groups
}
