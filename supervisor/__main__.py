from supervisor.cli.main import main

main()
