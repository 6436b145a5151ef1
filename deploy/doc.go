// Package deploy holds no code but tests: they check what stands beside it,
// the files by which coldweek is run. docker-compose.yml, at the root of the
// repository, is read as Compose reads it; the broker's configuration runs in
// Mosquitto with the certificates and logins that the script secrets makes;
// Alertmanager's runs in Alertmanager, beside a mail server and a pager; the
// Dockerfile's build is run in the context that .dockerignore leaves; the systemd
// unit and Prometheus' configuration are given to their own checkers.
package deploy
