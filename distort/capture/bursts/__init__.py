"""The burst series: bursts that get louder until every band has ended, live or one file after another."""
