package grafana

import (
	"fmt"

	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
)

// Dashboard is what a file of Grafana's provisioning holds.
//
//lint:ignore SA1019 Grafana reads this form from files; its successor needs Grafana's own store.
type Dashboard = dashboard.Dashboard

// All returns the dashboards by the name of their file.
func All() (map[string]Dashboard, error) {
	all := map[string]Dashboard{}
	for name, p := range map[string]*page{"fleet.json": fleet(), "plant.json": plant(), "intake.json": intake()} {
		made, err := p.builder.Build()
		if err != nil {
			return nil, fmt.Errorf("make %s: %w", name, err)
		}
		finish(made)
		all[name] = made
	}
	return all, nil
}

// finish gives rows and panels their ids, in their order, and takes back that
// links and annotations would be shown in a menu only.
func finish(d Dashboard) {
	for i := range d.Links {
		d.Links[i].Placement = nil
	}
	for i := range d.Annotations.List {
		d.Annotations.List[i].Placement = nil
	}
	for i, p := range d.Panels {
		id := uint32(i + 1)
		if p.RowPanel != nil {
			p.RowPanel.Id = id
		} else {
			p.Panel.Id = &id
		}
	}
}

// The dashboards' uids are in links and in people's bookmarks.
const (
	fleetUID  = "coldweek-fleet"
	plantUID  = "coldweek-plant"
	intakeUID = "coldweek-intake"
)

// tag makes the dashboards find each other.
const tag = "coldweek"

// page is a dashboard being laid out, from left to right and from top to bottom.
type page struct {
	//lint:ignore SA1019 see Dashboard
	builder *dashboard.DashboardBuilder
}

func newPage(uid, title, about, since, refresh string) *page {
	links := dashboard.NewDashboardLinkBuilder("coldweek").Type(dashboard.DashboardLinkTypeDashboards).Tags([]string{tag}).
		KeepTime(false).IncludeVars(false).Icon("dashboard")
	//lint:ignore SA1019 see Dashboard
	b := dashboard.NewDashboardBuilder(title).Uid(uid).Description(about).Tags([]string{tag}).
		Time(since, "now").Refresh(refresh).Timezone("browser").Tooltip(dashboard.DashboardCursorSyncCrosshair).
		Link(links)
	return &page{b}
}

// row begins a part of the page.
func (p *page) row(title string) *page {
	p.builder.WithRow(dashboard.NewRowBuilder(title))
	return p
}

func (p *page) panels(panels ...cog.Builder[dashboard.Panel]) *page {
	for _, panel := range panels {
		p.builder.WithPanel(panel)
	}
	return p
}

// siteQuery lists the sites that have sent readings.
const siteQuery = `SHOW TAG VALUES FROM "channel" WITH KEY = "site"`

func influxVariable(name, query string) *dashboard.QueryVariableBuilder {
	return dashboard.NewQueryVariableBuilder(name).Datasource(influxSource).
		Query(dashboard.StringOrMap{String: &query}).Definition(query).
		Refresh(dashboard.VariableRefreshOnDashboardLoad).Sort(dashboard.VariableSortAlphabeticalCaseInsensitiveAsc)
}

// all is the choice of every value.
var all = dashboard.VariableOption{
	Text:  dashboard.StringOrArrayOfString{String: new("All")},
	Value: dashboard.StringOrArrayOfString{String: new("$__all")},
}

// oneSite lets the reader choose a plant.
func (p *page) oneSite() *page {
	p.builder.WithVariable(influxVariable("site", siteQuery).Label("Plant"))
	return p
}

// manySites lets the reader choose plants; all of them at first, without naming
// each in the query.
func (p *page) manySites() *page {
	p.builder.WithVariable(influxVariable("site", siteQuery).Label("Plants").Multi(true).IncludeAll(true).AllValue(".*").Current(all))
	return p
}

// channels holds the chosen site's channels of these quantities, out of the
// reader's sight.
func (p *page) channels(name, quantities string) *page {
	p.builder.WithVariable(influxVariable(name, channelsOf(quantities)).Multi(true).IncludeAll(true).Current(all).
		Hide(dashboard.VariableHideHideVariable))
	return p
}
