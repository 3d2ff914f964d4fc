"""The options that every command talking to an inflator shares."""

import click

port_option = click.option("--port", required=True, metavar="PORT", help="Serial port of the inflator; `rimward inflators` lists them.")
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON.")
